"""The whole ladder, with the source off before, after, and on every way out."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

from harness.bench import Recorder
from harness.errors import BenchError, LinkLost, MeasureError, StationFault, StoreError
from harness.sweep.anchors import AnchorKeeper
from harness.sweep.attempt import STOPS_THE_RUN, RungWalker
from harness.sweep.bench import Bench
from harness.sweep.hands import Hands
from harness.sweep.journal import Journal
from harness.sweep.plan import Progress, SweepPlan
from harness.sweep.recheck import compare, rungs_again
from harness.sweep.self_check import self_check
from harness.values import Purpose, Reading, Rung

LOST_IN_A_ROW = 3
"""So many rungs without a working link mean that the bench is gone, not the reading."""


class Walk:
    """A ladder walked in portions: the source is off before the first, after each, and on every way out."""

    def __init__(self, bench: Bench, plan: SweepPlan, recorder: Recorder, *, first_index: int = 0) -> None:
        self._bench = bench
        self._plan = plan
        self._journal = Journal(recorder, first_index=first_index, overlap=plan.overlap)
        self._hands = Hands(bench, plan, self._journal.note)
        self._walker: RungWalker | None = None
        self._anchors = (
            AnchorKeeper(plan.anchors, plan.device, self._journal, bench.clock) if plan.anchors is not None else None
        )
        self._prepared = False
        self._lost = 0

    def portion(
        self, rungs: Sequence[Rung], *, progress: Progress, stop: Callable[[], bool] = lambda: False
    ) -> None:
        """Walk some rungs, in their order; before the first portion the self-check of the whole plan.

        Every attempt is recorded in its order; a sound one is durable, and then announced to `progress`, before the
        record of the next one is fetched, at the latest when the portion ends. RefusedUnsafe, StationFault,
        WrongInstrument, LinkLost (the bench is gone), StoreError and KeyboardInterrupt leave with the source off; a
        StationFault is noted in the journal. Should the source not read back off, the error says so in a note
        (`__notes__`); without another error that one is raised.
        """
        self._guarded(lambda: self._walk(rungs, progress, stop))

    def anchor(self) -> None:
        """Take the anchors now; errors and their promises as of a portion."""
        if self._anchors is not None:
            anchors = self._anchors
            self._guarded(lambda: anchors.take(self._ready()))

    def look(self, rung: Rung) -> Reading:
        """One reading as an anchor, with the source off afterwards; errors and their promises as of a portion."""
        found: list[Reading] = []
        again = replace(rung, purpose=Purpose.ANCHOR)
        self._guarded(lambda: found.append(self._ready().walk(again)))
        return found[0]

    def recheck(self, before: Sequence[Reading], *, stop: Callable[[], bool] = lambda: False) -> int:
        """Take readings of an earlier part of the run again, as anchors; errors and their promises as of a portion.

        Returns how many have moved beyond their uncertainty; each of those is noted as a discontinuity.
        """
        moved = 0

        def look() -> None:
            nonlocal moved
            for known, rung in rungs_again(before, self._plan.rungs):
                if stop():
                    raise KeyboardInterrupt
                found = compare(known, self._ready().walk(rung), self._plan.device)
                moved += found.moved
                self._journal.note(
                    "discontinuity" if found.moved else "anchor", f"{rung.prediction.label}: {found.text}"
                )

        self._guarded(look)
        return moved

    def _guarded(self, work: Callable[[], None]) -> None:
        """Work on the bench, and have the source off afterwards whatever happens."""
        self._journal.broken = False
        try:
            work()
            self._journal.settle()
        except BaseException as first:
            self.forget()
            trouble = _safe(self._bench, self._journal)
            self._keep_last(first)
            if trouble is not None:
                first.add_note(f"THE SOURCE MAY STILL BE ON: {trouble}")
            else:
                self._hands.switched_off()
                self._hands.rest()
            if isinstance(first, StationFault):
                also = f"; cannot be told apart from {', '.join(first.also)}" if first.also else ""
                self._journal.note("station-fault", f"{first.fault}: {first}{also}")
            raise
        trouble = _safe(self._bench, self._journal)
        if trouble is not None:
            raise trouble
        self._hands.switched_off()
        self._hands.rest()

    def _keep_last(self, first: BaseException) -> None:
        """What has been measured is kept whatever ends the portion, once the source is off."""
        try:
            self._journal.settle()
        except Exception as error:
            first.add_note(f"the last reading: {type(error).__name__}: {error}")

    def forget(self) -> None:
        """Somebody else may have touched the bench: it is made ready anew before the next portion."""
        self._prepared = False

    def _ready(self) -> RungWalker:
        """The bench prepared and its source checked, both once."""
        if not self._prepared:
            _prepare(self._hands, self._journal)
            self._prepared = True
        if self._walker is None:
            proven, suspect = _proven(self._hands, self._plan, self._journal)
            self._walker = RungWalker(
                self._hands, self._plan, self._journal, self._bench.clock, source_proven=proven, suspect=suspect
            )
        return self._walker

    def _walk(self, rungs: Sequence[Rung], progress: Progress, stop: Callable[[], bool]) -> None:
        walker = self._ready()
        for done, rung in enumerate(rungs, start=1):
            if stop():
                raise KeyboardInterrupt
            self._keep_anchors(walker)
            reading = walker.walk(rung)
            self._journal.announce(partial(progress, done, reading))
            self._lost = self._lost + 1 if reading.bench_gone else 0
            if self._lost >= LOST_IN_A_ROW:
                raise LinkLost(
                    f"{self._lost} settings in a row had no working link, the last at {rung.prediction.label}: "
                    f"{reading.reason}; the sweep stops. Check power and cables, then run `gainladder check` "
                    "on the bench"
                )

    def _keep_anchors(self, walker: RungWalker) -> None:
        if self._anchors is not None:
            if walker.slept:
                self._anchors.hurry()
                walker.slept = False
            if self._anchors.due:
                self._anchors.take(walker)
            self._anchors.walked()


def sweep(
    bench: Bench, plan: SweepPlan, recorder: Recorder, *, progress: Progress, stop: Callable[[], bool] = lambda: False
) -> None:
    """Walk the whole ladder and the readings beside it; errors and their promises as of a portion."""
    Walk(bench, plan, recorder).portion((*plan.rungs, *plan.extras), progress=progress, stop=stop)


def _prepare(hands: Hands, journal: Journal) -> None:
    """Ready the bench; one failure is recovered from, a second one ends the run before its first rung."""
    try:
        hands.prepare()
    except STOPS_THE_RUN:
        raise
    except BenchError as error:
        journal.note("retry", f"preparing the bench: {error}")
        hands.recover()


def _proven(hands: Hands, plan: SweepPlan, journal: Journal) -> tuple[bool, bool]:
    """Whether the self-check proves the source, and whether the bench is suspect then; trouble gets a second try."""
    for again in (False, True):
        try:
            if again:
                hands.recover()
            return self_check(hands, plan, journal), False
        except STOPS_THE_RUN:
            raise
        except (BenchError, MeasureError) as error:
            journal.note("self-check", f"not completed: {error}")
    return False, True


def _safe(bench: Bench, journal: Journal) -> BenchError | None:
    """Every source off whatever happened; what prevents it is noted and handed back."""
    trouble: BenchError | None = None
    for source in (bench.source, bench.aggressor):
        try:
            if source is not None:
                source.safe_off()
        except BenchError as error:
            # A store that is full must not hide that the source may be on.
            with contextlib.suppress(StoreError):
                journal.note("safe-state", f"THE SOURCE MAY STILL BE ON: {error}")
            trouble = trouble or error
    return trouble
