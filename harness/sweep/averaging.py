"""Several records of one setting, until the decision about it is certain or the job's most are taken."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from harness.config import DeviceFile
from harness.sweep.recheck import gain_of
from harness.values import Reading, Rung

Certain = Callable[[Rung, Sequence[float], float], bool]
"""Whether records of a rung suffice: each one's gain over the prediction, 100·ln, and the standard uncertainty of one,
percent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AveragingPlan:
    """How many records, and who knows when they suffice."""

    most_records: int
    certain: Certain


class Average:
    """The records of one rung at one level."""

    def __init__(self, plan: AveragingPlan, rung: Rung, device: DeviceFile, *, input_ratio: float) -> None:
        self._plan = plan
        self._rung = rung
        self._device = device
        self._input_ratio = input_ratio
        self._percents: list[float] = []
        self._u_percent = 0.0

    @property
    def records(self) -> int:
        """Records taken so far."""
        return len(self._percents)

    def stops(self, reading: Reading, *, true_level_vpk: float) -> str:
        """Add a record; empty when another is wanted, else why not.

        `certain`: the decision stands at the job's risk; `most`: the job allows no more; `no-gain`: the record holds no
        sine, which more of them do not mend.
        """
        gain = gain_of(reading, self._device)
        if gain is None or not true_level_vpk > 0.0:
            self._percents.append(0.0)
            return "no-gain"
        codes_per_v = gain.codes_per_set_v * reading.drive_read_vpk / true_level_vpk / self._input_ratio
        self._percents.append(100.0 * math.log(codes_per_v / self._rung.prediction.gain_codes_per_v))
        self._u_percent = max(self._u_percent, gain.u_percent)
        if self._plan.certain(self._rung, tuple(self._percents), self._u_percent):
            return "certain"
        return "most" if self.records >= self._plan.most_records else ""
