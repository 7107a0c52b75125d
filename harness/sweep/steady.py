"""One steady level read: its record, or where that is too quiet to be averaged, one at each position of a dither."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from harness.amplitude import is_quiet
from harness.sweep.hands import Hands
from harness.values import Quality, SteadyPlan, Waveform, joined


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyRead:
    """What was read at one steady level."""

    levels_v: tuple[float, ...]
    """As read back."""
    waveform: Waveform
    """One record at each, one after another."""
    quality: Quality
    """Of the last one; the first that clips ends it."""


def read_steady(hands: Hands, channel: int, plan: SteadyPlan, check: Callable[[Waveform], Quality]) -> SteadyRead:
    """Read a steady level, the setting selected beforehand with the source off; the source is off again afterwards."""
    if not (plan.always and plan.dither_v):
        found = _stepped(hands, channel, (plan.level_v,), check)
    if plan.dither_v and (plan.always or (not found.quality.clipped and is_quiet(found.waveform.codes))):
        found = _stepped(hands, channel, plan.dither_v, check)
    hands.off()
    return found


def _stepped(
    hands: Hands, channel: int, levels_v: Sequence[float], check: Callable[[Waveform], Quality]
) -> SteadyRead:
    read_v: list[float] = []
    waves: list[Waveform] = []
    for level_v in levels_v:
        read_v.append(hands.steady(level_v))
        waves.append(hands.acquire(channel))
        quality = check(waves[-1])
        if quality.clipped:
            break
    return SteadyRead(levels_v=tuple(read_v), waveform=joined(waves), quality=quality)
