"""Sizes for devices other than the reference, where those of the reference do not carry over, each with the reason.

A threshold is a limit, and limits are the device's own: below is half of it, at is it, above is twice it or the usual
size, as in the list. What is not here has the size of the reference there too.
"""

from __future__ import annotations

from typing import Final

from harness.simulated import SIZES, Sizes
from harness.simulated.fault_entry import FaultEntry

Texts = tuple[str | None, str | None, str | None]
"""Below, at, above."""

SEVEN_BITS = "the code has seven bits: the two topmost ones"
TWO_LEVEL = "the limit on two levels is 0.12 %, not 0.3 %"
RECORD = "the record is so long (20 ms) that what settles late is gone for most of it, and waits follow one another"
GAIN_4 = "the limit on the gain is 4 %, not 2 %"
ELSEWHERE: Final[dict[str, dict[str, tuple[Texts, str]]]] = {
    "tarn-vg-1": {
        "F03": ((None, "=0,1", "=5,6"), SEVEN_BITS),
        "F04": ((None, "=0,1", "=5,6"), SEVEN_BITS),
        "F32": (("=0.35", "=0.70", "=1.4"), "the limit on a fine step is 0.7 %, not 0.3 %"),
        "F37": (("=-0.06", "=-0.12", "=-1.0"), TWO_LEVEL),
    },
    "corrie-ur-2": {
        "F25": (("=0.10", "=0.22", "=0.40"), RECORD),
        "F30": (("=1.02", "=1.04", "=2.0"), GAIN_4),
        "F31": (
            ("=8.15,4", "=16.3,4", "=32.6,4"),
            "linear in dB: bit 4 is 0.8 dB, of which 16.3 % are the 1.5 % that a fine step may be off",
        ),
        "F32": (("=0.75", "=1.5", "=3.0"), "the limit on a fine step is 1.5 %, not 0.3 %"),
        "F33": (("=2.0", "=4.0", "=8.0"), GAIN_4),
        "F34": (("=2.0,-50", "=4.0,-100", "=20,-300"), GAIN_4),
        "F35": (("=2.0,0.15", "=4.0,0.30", "=8.0,0.60"), GAIN_4),
        "F37": (("=-0.06", "=-0.12", "=-1.0"), TWO_LEVEL),
        "F55": (("=2.0", "=4.0", "=8.0"), GAIN_4),
        "T6": (("=10", "=4.5", "=3"), RECORD),
    },
}


def sizes_of(entry: FaultEntry, ladder: str) -> Sizes:
    """The sizes of a fault on a ladder (a device, or a device and `beside`)."""
    known, (device, *_) = SIZES[entry.id], ladder.split()
    own = ELSEWHERE.get(device, {}).get(entry.id)
    if own is None:
        return known
    below, at, above = own[0]
    return Sizes(kind=known.kind, below=below, at=at, above=above)
