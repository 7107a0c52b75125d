"""What a shift register with latches makes of edges: data at each rising clock edge, kept at a rising latch edge."""

from __future__ import annotations

from harness.simulated.bus_traffic import CLOCK, DATA, Burst

_KEPT_BITS = 64


def latched_bits(burst: Burst, *, before_levels: int, before_bits: int) -> dict[int, int]:
    """The bits held when each latch line last rose, newest lowest, by number of the line."""
    held: dict[int, int] = {}
    bits, levels = before_bits, before_levels
    for now in burst.levels.tolist():
        rose = now & ~levels
        if rose >> CLOCK & 1:
            # Data that changes with the clock edge or behind it is not seen by it.
            bits = (bits << 1 | levels >> DATA & 1) & (2**_KEPT_BITS - 1)
        line = CLOCK + 1
        while rose >> line:
            if rose >> line & 1:
                held[line] = bits
            line += 1
        levels = now
    return held
