"""The few settings by which a station looks at itself, with a good unit connected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from harness.config import DeviceFile
from harness.law import GainLaw
from harness.values import Direction, Purpose, Rung, Setting

_Bit = tuple[int, str, int, int]
"""Channel, latch, bit from the least significant, and its state."""


def pattern_rungs(rungs: Sequence[Rung]) -> tuple[Rung, ...]:
    """Settings in which each bit of each word stands both ways, as far as the ladder has it so.

    Args:
        rungs: of a ladder.
    Returns:
        as few as a greedy choice finds, in their order, upward, numbered from 0.
    Source:
        the greedy cover; a bus that is stuck or crossed shows in a bit that is seen both ways.
    """
    once = {rung.setting: rung for rung in reversed(rungs)}
    bits = {setting: _bits(rung) for setting, rung in sorted(once.items())}
    missing = set().union(*bits.values())
    chosen: list[Setting] = []
    while missing:
        best = max(bits, key=lambda setting: len(bits[setting] & missing))
        missing -= bits[best]
        chosen.append(best)
    return tuple(
        replace(once[setting], index=index, direction=Direction.UP) for index, setting in enumerate(sorted(chosen))
    )


def quiet_rungs(device: DeviceFile, law: GainLaw, channels: Sequence[int], *, first_index: int) -> tuple[Rung, ...]:
    """Where the noise of a quiet input is known, a reading of it for each channel.

    Args:
        device: says where and how much.
        law: of the device.
        channels: 1-based.
        first_index: of the first reading.
    Returns:
        readings with the source off; none where the device file does not say how much.
    Source:
        `[quiet_noise]` of the device file.
    """
    if device.quiet_noise is None:
        return ()
    coarse, fine = device.quiet_noise.place(device)
    return tuple(
        Rung(
            index=first_index + number, direction=Direction.UP, prediction=law.predict(Setting(channel, coarse, fine)),
            drive_vpk=0.0, fill_ratio=0.0, relay_toggles=0, purpose=Purpose.QUIET,
        )
        for number, channel in enumerate(channels)
    )  # fmt: skip


def _bits(rung: Rung) -> set[_Bit]:
    state = rung.prediction.state
    return {
        (rung.setting.channel, word.latch, bit, word.value >> bit & 1)
        for word in (state.word, *state.more)
        for bit in range(word.bits)
    }
