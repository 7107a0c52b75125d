"""Several records that count as one reading: the mean of their gains, with the uncertainty of a mean."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from harness.config import DeviceFile
from harness.judge.measured import Measured, measure
from harness.values import Codes, Direction, Reading, Setting


class Averaged:
    """The records of one rung on their way to its final reading."""

    def __init__(self) -> None:
        self._place: tuple[Setting, Direction] | None = None
        self._records: list[Measured] = []

    def copy(self) -> Averaged:
        """Another one that knows the same records."""
        other = Averaged()
        other._place, other._records = self._place, list(self._records)
        return other

    def add(self, reading: Reading, device: DeviceFile, input_ratio: float, previous: Codes | None) -> Measured:
        """One more record; of another rung than the ones before, it begins anew. What it says by itself."""
        place = (reading.setting, reading.direction)
        if place != self._place:
            self.forget()
        self._place = place
        one = measure(reading, device=device, bus=None, latches=(), input_ratio=input_ratio, previous=previous)
        self._records.append(one)
        return one

    def forget(self) -> None:
        """The rung is tried anew: what was taken of it before does not count."""
        self._place, self._records = None, []

    def with_final(self, reading: Reading, final: Measured) -> Measured:
        """The final reading of a rung with the records before it that it says belong to it."""
        before = self._records[-(reading.records - 1) :] if reading.records > 1 else []
        if (reading.setting, reading.direction) != self._place:
            before = []
        self.forget()
        return mean_of(final, before)


def mean_of(final: Measured, before: Sequence[Measured]) -> Measured:
    """One reading from several records of it.

    Args:
        final: the last one; words, flags and quality are its own.
        before: those taken before at the same level.
    Returns:
        the geometric mean of the gains that there are, and a fit with as many samples as all of them have, so that its
        noise counts as that of a mean. A final reading without a gain stays as it is.
    Source:
        the mean of n independent records has 1/sqrt(n) of the standard uncertainty of one; JCGM 100:2008, 4.2.3.
    """
    pairs = [(one.gain_codes_per_v, one.fit) for one in (*before, final)]
    sound = [(gain, fit) for gain, fit in pairs if gain is not None and fit is not None]
    if final.gain_codes_per_v is None or final.fit is None or len(sound) < 2:
        return final
    count = len(sound)
    fit = replace(
        final.fit,
        amplitude_code=math.exp(sum(math.log(fit.amplitude_code) for _, fit in sound) / count),
        offset_code=sum(fit.offset_code for _, fit in sound) / count,
        noise_code=math.sqrt(sum(fit.noise_code**2 for _, fit in sound) / count),
        samples=sum(fit.samples for _, fit in sound),
    )
    return replace(final, gain_codes_per_v=math.exp(sum(math.log(gain) for gain, _ in sound) / count), fit=fit)
