"""What the readings of a whole run came to, kept, so that the run can be decided again without them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.errors import UsageError
from harness.judge.extra_reading import ExtraMeasured
from harness.judge.facts import Facts
from harness.judge.measured import Measured
from harness.judge.rows import Gathered
from harness.values import BusRecord, Outcome, Prediction, Reading, Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """Stands where readings stood: the same for the whole run, nothing for a part of it or for further readings."""

    plan: Mapping[Setting, Prediction]
    all_facts: Facts
    all_beside: tuple[ExtraMeasured, ...]
    all_heard: tuple[BusRecord, ...]
    all_measured: Mapping[int, Measured]

    def add(self, reading: Reading) -> Outcome | Gathered:
        """Never: a further reading would change what the others came to."""
        raise UsageError(
            f"reading {reading.index}: the run was judged without its readings; take all of them anew to add one"
        )

    def facts(self, plan: Mapping[Setting, Prediction]) -> Facts:
        """As Taken.facts, of the whole run."""
        self._whole(plan)
        return self.all_facts

    def beside(self, plan: Mapping[Setting, Prediction]) -> tuple[ExtraMeasured, ...]:
        """As Taken.beside, of the whole run."""
        self._whole(plan)
        return self.all_beside

    def heard(self, plan: Mapping[Setting, Prediction]) -> tuple[BusRecord, ...]:
        """As Taken.heard, of the whole run."""
        self._whole(plan)
        return self.all_heard

    def measured(self) -> dict[int, Measured]:
        """As Taken.measured."""
        return dict(self.all_measured)

    def copy(self) -> Remembered:
        """Itself: nothing can change it."""
        return self

    def remember(self) -> Remembered:
        """Itself."""
        return self

    def _whole(self, plan: Mapping[Setting, Prediction]) -> None:
        if plan.keys() != self.plan.keys():
            raise UsageError(
                f"{len(plan)} settings asked for of a run of {len(self.plan)} that was judged without its readings: "
                "take all of them anew to decide about a part"
            )
