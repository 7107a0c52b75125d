"""The whole ladder, with the source off before, after, and on every way out."""

from __future__ import annotations

from collections.abc import Callable

from harness.bench import Recorder, Source
from harness.errors import BenchError, LinkLost, MeasureError, StationFault
from harness.sweep.attempt import STOPS_THE_RUN, RungWalker
from harness.sweep.bench import Bench
from harness.sweep.hands import Hands
from harness.sweep.journal import Journal
from harness.sweep.plan import Progress, SweepPlan
from harness.sweep.self_check import self_check
from harness.values import Reading, ReadingStatus

LOST_IN_A_ROW = 3
"""So many rungs without a working link mean that the bench is gone, not the reading."""


def sweep(
    bench: Bench, plan: SweepPlan, recorder: Recorder, *, progress: Progress, stop: Callable[[], bool] = lambda: False
) -> None:
    """Walk the ladder.

    Every attempt is recorded durably before the next one begins. RefusedUnsafe, StationFault, WrongInstrument,
    StoreError and KeyboardInterrupt leave through the safe state; a StationFault is noted in the journal first.
    """
    journal = Journal(recorder)
    try:
        hands = Hands(bench, plan)
        hands.prepare()
        proven = _proven(hands, plan, journal)
        walker = RungWalker(hands, plan, journal, bench.clock, source_proven=proven)
        _walk(walker, plan, progress, stop)
    except StationFault as fault:
        also = f"; cannot be told apart from {', '.join(fault.also)}" if fault.also else ""
        journal.note("station-fault", f"{fault.fault}: {fault}{also}")
        raise
    finally:
        _safe(bench.source, journal)


def _proven(hands: Hands, plan: SweepPlan, journal: Journal) -> bool:
    """The self-check; trouble with a link or a record there proves nothing, and the ladder gets a sound bench."""
    try:
        return self_check(hands, plan, journal)
    except STOPS_THE_RUN:
        raise
    except (BenchError, MeasureError) as error:
        journal.note("self-check", f"not completed: {error}")
        hands.recover()
        return False


def _walk(walker: RungWalker, plan: SweepPlan, progress: Progress, stop: Callable[[], bool]) -> None:
    lost = 0
    for done, rung in enumerate(plan.rungs, start=1):
        if stop():
            raise KeyboardInterrupt
        reading = walker.walk(rung)
        progress(done, reading)
        lost = lost + 1 if _is_lost(reading) else 0
        if lost >= LOST_IN_A_ROW:
            raise LinkLost(
                f"{lost} settings in a row had no working link, the last at {rung.prediction.label}: {reading.reason}; "
                "the sweep stops. Check power and cables, then run `gainladder check` on the bench"
            )


def _is_lost(reading: Reading) -> bool:
    kinds = ("LinkLost", "OpenFailed", "LinkClosed")
    return reading.status is ReadingStatus.INVALID and reading.reason.startswith(kinds)


def _safe(source: Source, journal: Journal) -> None:
    """Source off whatever happened; a failure here must not hide the first error, so it is noted, not raised."""
    try:
        source.safe_off()
    except BenchError as error:
        journal.note("safe-state", f"THE SOURCE MAY STILL BE ON: {error}")
