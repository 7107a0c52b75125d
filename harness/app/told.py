"""What the journals of a store say of a station and its units, as the locks want it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from harness.app.certificates import certificates_of
from harness.app.golden.looks import golden_state, station_of
from harness.app.run import judged
from harness.app.setup import Setup
from harness.config import Production
from harness.judge.lockout import FailedAt, StationFacts
from harness.store import Clock, Store, noted
from harness.values import (
    ATTEMPT,
    FIXTURE,
    GOLDEN_CHECK,
    RELEASED,
    VERDICT,
    EndedAs,
    Event,
    Outcome,
    RunResult,
    action_of,
    attempt_of,
    ended_as_of,
    golden_of,
)


def how_it_ended(result: RunResult) -> EndedAs:
    """The verdict of a run, and the first failing item and where."""
    failed = next((j for j in result.judgements if j.outcome is Outcome.FAIL), None)
    if failed is None:
        return EndedAs(outcome=result.verdict, place="")
    labels = {row.setting: row.label for row in result.settings}
    where = "" if failed.setting is None else labels.get(failed.setting, "")
    return EndedAs(outcome=result.verdict, place=f"{failed.item} {where}".strip())


class Told:
    """What journals say of runs on a station: attempts, their ends, golden checks; oldest first."""

    def __init__(self, store: Store, setup: Setup) -> None:
        self._store = store
        self._setup = setup
        self.lines = noted(store, ATTEMPT, VERDICT, GOLDEN_CHECK, RELEASED, FIXTURE)
        self._ends: Mapping[str, Event] = {run_id: event for run_id, event in self.lines if event.kind == VERDICT}

    def of_unit(self, unit: str, *, but: str = "") -> tuple[Outcome, ...]:
        """Outcomes of a unit's runs by this job, on whichever station, since it was repaired; not of run `but`."""
        found: list[Outcome] = []
        for run_id, event in self.lines:
            attempt = attempt_of((event,))
            if attempt is None or (attempt.unit, attempt.job) != (unit, self._setup.job.name):
                continue
            if attempt.repaired:
                found.clear()
            if run_id != but:
                found.append(self._end(run_id).outcome)
        return tuple(found)

    def by_unit(self, job: str) -> dict[str, tuple[Outcome, ...]]:
        """Outcomes of the runs of all units by a job since each was repaired, in one pass."""
        found: dict[str, list[Outcome]] = {}
        for run_id, event in self.lines:
            attempt = attempt_of((event,))
            if attempt is None or attempt.job != job:
                continue
            own = found.setdefault(attempt.unit, [])
            if attempt.repaired:
                own.clear()
            own.append(self._end(run_id).outcome)
        return {unit: tuple(own) for unit, own in found.items()}

    def since_golden(self, most: int) -> tuple[FailedAt, ...]:
        """The newest runs on the station that said something of a unit, as far back as the last sound golden check."""
        station = station_of(self._setup)
        found: list[FailedAt] = []
        for run_id, event in reversed(self.lines):
            if event.kind == GOLDEN_CHECK:
                look = golden_of(run_id, event)
                if look is not None and look.station == station and look.outcome is Outcome.PASS:
                    break
            attempt = attempt_of((event,))
            if attempt is not None and attempt.station == station:
                end = self._end(run_id)
                if end.outcome is not Outcome.INVALID:
                    found.append(FailedAt(unit=attempt.unit, outcome=end.outcome, place=end.place))
            if len(found) == most:
                break
        return tuple(reversed(found))

    def fixture_runs(self) -> int:
        """Runs on the station, golden ones too, since its fixture was renewed."""
        station, count = station_of(self._setup), 0
        for run_id, event in self.lines:
            if event.kind == ATTEMPT:
                attempt = attempt_of((event,))
                count += attempt is not None and attempt.station == station
            elif event.kind == GOLDEN_CHECK:
                look = golden_of(run_id, event)
                count += look is not None and look.station == station
            elif event.kind == FIXTURE:
                action = action_of(event)
                if action is not None and action.station == station:
                    count = 0
        return count

    def unreleased(self) -> tuple[str, ...]:
        """Files of the job that the newest release of it on the station does not hold."""
        station, released = station_of(self._setup), frozenset[str]()
        for _, event in self.lines:
            action = action_of(event) if event.kind == RELEASED else None
            if action is not None and (action.station, action.about) == (station, self._setup.job.name):
                released = frozenset(action.files)
        return tuple(f"{file.role} {file.path}" for file in self._setup.files if file.sha256 not in released)

    def newest(self) -> dt.datetime | None:
        """When the newest of these lines was written."""
        return max((dt.datetime.fromisoformat(event.at_utc) for _, event in self.lines), default=None)

    def _end(self, run_id: str) -> EndedAs:
        event = self._ends.get(run_id)
        known = None if event is None else ended_as_of((event,))
        # A run that broke off was never judged: what it had read counts all the same.
        return known or how_it_ended(judged(self._store, run_id)[1])


def facts_of(
    store: Store,
    setup: Setup,
    rules: Production,
    told: Told,
    earlier: Sequence[Outcome],
    clock: Clock,
    *,
    golden: bool,
) -> StationFacts:
    """Everything that the locks look at."""
    return StationFacts(
        at=dt.datetime.fromisoformat(clock.utc()),
        newest_record=told.newest(),
        simulated=setup.bench.file.simulation is not None,
        simulated_allowed=rules.simulated,
        certificates=certificates_of(setup.bench.file),
        free_mb=store.free_mb(),
        least_free_mb=rules.least_free_mb,
        golden=golden_state(store, setup),
        golden_hours=rules.golden_hours,
        is_golden=golden,
        since_golden=told.since_golden(rules.equal_failures),
        equal_failures=rules.equal_failures,
        unit_runs=earlier,
        attempts=rules.attempts,
        unreleased=told.unreleased() if rules.released else (),
        fixture_runs=told.fixture_runs(),
        fixture_cycles=rules.fixture_cycles,
    )
