"""What was seen of a device, setting by setting: words and gains, no opinion yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.errors import LearnError
from harness.values import ControlWord, Setting

Bits = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """One setting as it was seen."""

    setting: Setting
    words: tuple[ControlWord, ...] = ()
    """What the gain devices of the channel hold, one for each latch that moved with it; empty without a bus."""
    gain_codes_per_v: float | None = None
    """Code-domain gain; None where none was measured."""
    u_ratio: float = 0.0
    """Standard uncertainty of the gain that is its own, relative."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """The place of one gain device's word in the row of all bits."""

    latches: tuple[str, ...]
    """Its latch in each channel, in order of the channels."""
    start: int
    bits: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """All settings of all channels as arrays, one row a setting."""

    settings: tuple[Setting, ...]
    bits: Bits
    """Shape (n, b): bit by place on the wire, first one first; b is 0 without a bus."""
    segments: tuple[Segment, ...]
    logs: npt.NDArray[np.float64]
    """Shape (n,): ln of the gain in codes a volt; NaN where none was measured."""
    u_ratio: npt.NDArray[np.float64]
    """Shape (n,)."""

    @property
    def channels(self) -> npt.NDArray[np.int64]:
        """Shape (n,)."""
        return np.asarray([setting.channel for setting in self.settings])

    @property
    def coarse(self) -> npt.NDArray[np.int64]:
        """Shape (n,)."""
        return np.asarray([setting.coarse for setting in self.settings])

    @property
    def fine(self) -> npt.NDArray[np.int64]:
        """Shape (n,)."""
        return np.asarray([setting.fine for setting in self.settings])

    @property
    def measured(self) -> npt.NDArray[np.bool_]:
        """Shape (n,): whether a gain is known."""
        return np.isfinite(self.logs)

    def words(self) -> tuple[bytes, ...]:
        """The whole row of bits of each setting, to be compared."""
        return tuple(row.tobytes() for row in self.bits)

    def held(self, row: int) -> tuple[int, ...]:
        """The word of each gain device at one setting, first bit on the wire most significant."""
        bits = self.bits[row]
        return tuple(
            int("".join(map(str, bits[segment.start : segment.start + segment.bits])), 2) for segment in self.segments
        )


def gather(observed: Sequence[Observed]) -> Seen:
    """Settings as arrays, in order of channel, coarse, fine.

    Args:
        observed: each setting once; words of all or of none, of the same lengths.
    Returns:
        the arrays.
    Raises:
        LearnError: there is none, a setting is there twice, or the words of two settings do not have the same form.
    Source:
        none: bookkeeping.
    """
    if not observed:
        raise LearnError("learn: no setting was observed; allowed is one or more: measure first")
    ordered = sorted(observed, key=lambda one: one.setting)
    settings = tuple(one.setting for one in ordered)
    if len(set(settings)) != len(settings):
        twice = next(s for s in settings if settings.count(s) > 1)
        raise LearnError(f"learn: {twice} is observed twice; allowed is once: give each setting one gain and one word")
    form = tuple(word.bits for word in ordered[0].words)
    for one in ordered:
        if tuple(word.bits for word in one.words) != form:
            got = tuple(word.bits for word in one.words)
            raise LearnError(f"learn: {one.setting} has words of {got} bits; allowed is {form} as at {settings[0]}")
    gains = np.asarray([one.gain_codes_per_v or np.nan for one in ordered], dtype=np.float64)
    return Seen(
        settings=settings,
        bits=np.asarray([_row(one.words) for one in ordered], dtype=np.uint8).reshape(len(ordered), sum(form)),
        segments=_segments(ordered, form),
        logs=np.log(gains),
        u_ratio=np.asarray([one.u_ratio for one in ordered], dtype=np.float64),
    )


def _row(words: Sequence[ControlWord]) -> list[int]:
    return [int(digit) for word in words for digit in f"{word.value:0{word.bits}b}"]


def _segments(ordered: Sequence[Observed], form: tuple[int, ...]) -> tuple[Segment, ...]:
    by_channel = {one.setting.channel: tuple(word.latch for word in one.words) for one in ordered}
    found, start = [], 0
    for place, bits in enumerate(form):
        latches = tuple(latches[place] for _, latches in sorted(by_channel.items()))
        found.append(Segment(latches=latches, start=start, bits=bits))
        start += bits
    return tuple(found)
