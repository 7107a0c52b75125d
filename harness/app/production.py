"""Production mode: a station that is not fit, or a unit that has had its runs, is refused before anything is opened."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.app.certificates import certificates_of
from harness.app.golden.looks import golden_state, station_of
from harness.app.run import judged
from harness.app.setup import Setup
from harness.config import Production
from harness.errors import LockedOut, UsageError
from harness.judge.lockout import LOCKS, FailedAt, StationFacts, active_locks, retest_of
from harness.store import Clock, Store, add_note, noted
from harness.values import (
    ATTEMPT,
    GOLDEN_CHECK,
    LIFTED,
    VERDICT,
    Attempt,
    EndedAs,
    Event,
    Outcome,
    RunResult,
    attempt_of,
    attempt_text,
    ended_as_of,
    ended_as_text,
    golden_of,
)

Notes = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the command line says of locks."""

    operator: str
    lifts: tuple[str, ...] = ()
    """CODE=REASON each."""
    repaired: str = ""


def admit(
    store: Store, setup: Setup, unit: str, asked: Asked, clock: Clock, *, golden: bool = False, run_id: str = ""
) -> Notes:
    """Let a run begin, or run `run_id` go on, or refuse; lines for its journal. Nothing without [production].

    A run that goes on stays the attempt that it was, and keeps the locks lifted that were lifted for it.
    LockedOut: a lock holds. UsageError: a lift that is none, or a golden unit that is swept like any other.
    """
    rules = setup.job.production
    if rules is None:
        if asked.lifts or asked.repaired:
            raise UsageError(
                "--lift and --repaired go with a job that has [production]; this one locks and counts nothing"
            )
        return ()
    lifted = _lifts(asked)
    if not golden and unit in rules.golden_units:
        raise UsageError(f"{unit} is a golden unit of this job: measure it with `gainladder golden check`")
    told = _Told(store, setup)
    earlier = () if asked.repaired else told.of_unit(unit, but=run_id)
    journal = store.events(run_id) if run_id else ()
    open_now = {*lifted, *(event.text.partition(" ")[0] for event in journal if event.kind == LIFTED)}
    facts = _facts(store, setup, rules, told, earlier, clock, golden=golden)
    held = [active for active in active_locks(facts) if active.lock.code not in open_now]
    if held:
        lines = "\n".join(f"  {active}" for active in held)
        raise LockedOut(
            f"station {station_of(setup)} is locked, nothing was measured:\n{lines}",
            codes=tuple(active.lock.code for active in held),
        )
    notes = tuple((LIFTED, f"{code} by {asked.operator}: {reason}") for code, reason in lifted.items())
    if golden or attempt_of(journal) is not None:
        return notes
    retest = retest_of(earlier, attempts=rules.attempts)
    begun = Attempt(
        unit=unit, job=setup.job.name, station=station_of(setup), number=retest.attempt, most=rules.attempts,
        failed_before=retest.failed_before, repaired=asked.repaired,
    )  # fmt: skip
    return ((ATTEMPT, attempt_text(begun)), *notes)


def note_verdict(store: Store, run_id: str, result: RunResult, clock: Clock) -> str:
    """Write how a counted run ended into its journal; what is to be said of the attempt. Nothing for other runs."""
    attempt = attempt_of(store.events(run_id))
    if attempt is None:
        return ""
    add_note(store, run_id, VERDICT, ended_as_text(_ended(result)), clock)
    which = f"attempt {attempt.number} of {attempt.most} of unit {attempt.unit}"
    if result.verdict is Outcome.PASS:
        return (
            f"RETEST PASS, {which}: counted apart from first passes"
            if attempt.failed_before
            else f"first pass, {which}"
        )
    if result.verdict is Outcome.INVALID:
        return f"{which} says nothing of the unit and does not count"
    if attempt.number >= attempt.most:
        return f"{which}: the unit is in quarantine until it was repaired"
    return which


def _ended(result: RunResult) -> EndedAs:
    failed = next((j for j in result.judgements if j.outcome is Outcome.FAIL), None)
    if failed is None:
        return EndedAs(outcome=result.verdict, place="")
    labels = {row.setting: row.label for row in result.settings}
    where = "" if failed.setting is None else labels.get(failed.setting, "")
    return EndedAs(outcome=result.verdict, place=f"{failed.item} {where}".strip())


class _Told:
    """What journals say of runs on a station: attempts, their ends, golden checks; oldest first."""

    def __init__(self, store: Store, setup: Setup) -> None:
        self._store = store
        self._setup = setup
        self.lines = noted(store, ATTEMPT, VERDICT, GOLDEN_CHECK)
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

    def newest(self) -> dt.datetime | None:
        """When the newest of these lines was written."""
        return max((dt.datetime.fromisoformat(event.at_utc) for _, event in self.lines), default=None)

    def _end(self, run_id: str) -> EndedAs:
        event = self._ends.get(run_id)
        known = None if event is None else ended_as_of((event,))
        # A run that broke off was never judged: what it had read counts all the same.
        return known or _ended(judged(self._store, run_id)[1])


def _facts(
    store: Store,
    setup: Setup,
    rules: Production,
    told: _Told,
    earlier: Sequence[Outcome],
    clock: Clock,
    *,
    golden: bool,
) -> StationFacts:
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
    )


def _lifts(asked: Asked) -> dict[str, str]:
    found: dict[str, str] = {}
    allowed = [code for code, lock in LOCKS.items() if lock.by_option]
    for lift in asked.lifts:
        code, _, reason = lift.partition("=")
        if code not in allowed or not reason.strip():
            raise UsageError(f"--lift: got {lift!r}; allowed: CODE=REASON with a code of {', '.join(allowed)}")
        found[code] = reason.strip()
    return found
