"""Looks on while the readings of a night are taken: the unit settles first, and the job's stop conditions are kept."""

from __future__ import annotations

from harness.app.bench_open import OpenBench
from harness.app.setup import Setup
from harness.config import Night
from harness.errors import StopCondition
from harness.ladder import NightRun
from harness.store import RunRecorder, Store
from harness.sweep import Around, Walk, settle
from harness.values import CONDITION, Reading, ReadingStatus, conditions_text

EVERY_S = 60.0
"""Between two looks at the conditions while a ladder is walked."""


class NightWatch:
    """Of one run."""

    def __init__(
        self, setup: Setup, opened: OpenBench, around: Around, store: Store, night: Night, run: NightRun, *, dwell: bool
    ) -> None:
        """`dwell`: the corner has just been set, so the unit must settle first."""
        self._around = around
        self._setup = setup
        self._bench = opened.bench
        self._store = store
        self._night = night
        self._run = run
        self._dwell = dwell
        self._invalid = 0
        self._current_a: float | None = None
        self._looked_s = 0.0
        self._recorder: RunRecorder | None = None

    def before(self, walk: Walk, recorder: RunRecorder) -> None:
        """Let the unit settle where the corner has just been set."""
        self._recorder = recorder
        self._around.journal(recorder.note)
        self._room()
        corner = self._run.corner
        if self._dwell and (corner.temperature_c is not None or corner.supply_v is not None):
            settle(
                walk,
                (self._setup.anchors or self._setup.rungs)[0],
                conditions=self._around.conditions,
                temperature_c=corner.temperature_c,
                rules=self._night.dwell,
                device=self._setup.device,
                clock=self._bench.clock,
                note=recorder.note,
                check=self._check,
            )
        self._conditions(recorder)

    def seen(self, reading: Reading) -> None:
        """Count what is INVALID, and look at the conditions now and then."""
        self._invalid = self._invalid + 1 if reading.status is ReadingStatus.INVALID else 0
        if self._invalid >= self._night.stop.invalid_in_a_row:
            raise StopCondition(
                f"{self._invalid} INVALID readings in a row, the last: {reading.reason}; the corner is given up",
                scope="corner",
            )
        if self._recorder is not None and self._bench.clock.now_s() - self._looked_s >= EVERY_S:
            self._conditions(self._recorder)
            self._room()

    def after(self, recorder: RunRecorder) -> None:
        """The conditions at the end."""
        self._conditions(recorder)

    def _conditions(self, recorder: RunRecorder) -> None:
        self._looked_s = self._bench.clock.now_s()
        values = self._around.conditions()
        if values:
            recorder.note(CONDITION, conditions_text(values))
        self._check(values)

    def _check(self, values: dict[str, float]) -> None:
        """StopCondition for what is out of bounds at this look and at another one: a single answer may be a glitch."""
        if self._breach(values) is None:
            return
        sure = self._breach(self._around.conditions())
        if sure is not None:
            raise sure

    def _breach(self, values: dict[str, float]) -> StopCondition | None:
        stop = self._night.stop
        warmest = max((c.temperature_c for c in self._night.corner if c.temperature_c is not None), default=None)
        probe_c = values.get("probe_c")
        if warmest is not None and probe_c is not None and probe_c > warmest + stop.over_k:
            return StopCondition(
                f"the unit is at {probe_c:.1f} °C, over {stop.over_k:g} K above the warmest corner: everything stops",
                scope="night",
            )
        current_a = values.get("supply_a")
        if current_a is None or self._run.corner.supply_v is None:
            return None
        if self._current_a is None:
            self._current_a = current_a
        limit_a = stop.supply_percent / 100.0 * self._current_a
        if abs(current_a - self._current_a) <= limit_a:
            return None
        return StopCondition(
            f"the supply gives {current_a:.3f} A, {self._current_a:.3f} A when the run began; allowed "
            f"±{stop.supply_percent:g} %: the unit is given up",
            scope="unit",
        )

    def _room(self) -> None:
        free_mb = self._store.free_mb()
        if free_mb is not None and free_mb < self._night.stop.least_free_mb:
            raise StopCondition(
                f"{free_mb:.0f} MB free for the store, the job wants {self._night.stop.least_free_mb:g} MB: "
                "everything stops; free some space, then resume",
                scope="night",
            )
