"""Reference settings read again while a ladder is walked: have bench and unit moved since they were read first?"""

from __future__ import annotations

from dataclasses import replace

from harness.bench import Clock
from harness.config import DeviceFile
from harness.errors import StopCondition
from harness.sweep.attempt import RungWalker
from harness.sweep.journal import Journal
from harness.sweep.plan import AnchorPlan
from harness.sweep.recheck import compare
from harness.values import Purpose, Reading


class AnchorKeeper:
    """Takes the anchors when they are due, and compares each with its first reading."""

    def __init__(self, plan: AnchorPlan, device: DeviceFile, journal: Journal, clock: Clock) -> None:
        self._plan = plan
        self._device = device
        self._journal = journal
        self._clock = clock
        self._first: dict[int, Reading] = {}
        self._last_s: float | None = None
        self._rungs_since = 0

    def walked(self) -> None:
        """One more rung of the ladder is done."""
        self._rungs_since += 1

    def hurry(self) -> None:
        """Something has happened: they are due now."""
        self._last_s = None

    @property
    def due(self) -> bool:
        """Whether it is time: at first, then after so many rungs or so long."""
        plan = self._plan
        if self._last_s is None:
            return True
        by_count = plan.every_rungs is not None and self._rungs_since >= plan.every_rungs
        return by_count or (plan.every_s is not None and self._clock.now_s() - self._last_s >= plan.every_s)

    def take(self, walker: RungWalker) -> None:
        """Read every anchor; StopCondition when one has moved beyond what the job bears."""
        self._last_s, self._rungs_since = self._clock.now_s(), 0
        for number, rung in enumerate(self._plan.rungs):
            reading = walker.walk(replace(rung, purpose=Purpose.ANCHOR))
            first = self._first.get(number)
            if first is None or first.waveform is None:
                self._first[number] = reading
                continue
            found = compare(first, reading, self._device)
            self._journal.note("anchor", f"{rung.prediction.label}: {found.text}")
            moved_percent = found.difference_percent
            if moved_percent is not None and abs(moved_percent) > self._plan.moved_percent:
                raise StopCondition(
                    f"anchor {rung.prediction.label} has moved by {moved_percent:+.3f} % since reading {first.index}; "
                    f"allowed {self._plan.moved_percent:g} %: look at the bench before the unit is blamed",
                    scope="unit",
                )
