"""Production mode: a station that is not fit, or a unit that has had its runs, is refused before anything is opened."""

from __future__ import annotations

from dataclasses import dataclass

from harness.app.golden.looks import station_of
from harness.app.people import Who, refuse, require, whoever
from harness.app.setup import Setup
from harness.app.told import Told, facts_of, how_it_ended
from harness.errors import UsageError
from harness.judge.lockout import LOCKS, ActiveLock, active_locks, lifting, retest_of
from harness.store import Clock, Store, add_note
from harness.values import (
    ATTEMPT,
    LIFTED,
    VERDICT,
    Attempt,
    Outcome,
    RunResult,
    attempt_of,
    attempt_text,
    ended_as_text,
)

Notes = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the command line says of locks."""

    operator: str
    """A name, or the text of a badge."""
    lifts: tuple[str, ...] = ()
    """CODE=REASON each."""
    repaired: str = ""
    acts: tuple[str, ...] = ()
    """What else needs a right: keys of RIGHTS."""


def admit(
    store: Store, setup: Setup, unit: str, asked: Asked, clock: Clock, *, golden: bool = False, run_id: str = ""
) -> Notes:
    """Let a run begin, or run `run_id` go on, or refuse; lines for its journal. Nothing without [production].

    A run that goes on stays the attempt that it was, and keeps the locks lifted that were lifted for it. A refusal is
    in the book of the station. LockedOut: a lock holds, or somebody may not do what they ask. UsageError: a lift that
    is none, or a golden unit that is swept like any other.
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
    who = whoever(setup, asked.operator)
    acts = [*asked.acts, *(["repair"] if asked.repaired else []), *(["limits"] if setup.other_limits else [])]
    require(store, setup, who, clock, about=unit, lifts=lifted, acts=acts)
    told = Told(store, setup)
    earlier = () if asked.repaired else told.of_unit(unit, but=run_id)
    journal = store.events(run_id) if run_id else ()
    open_now = {*lifted, *(event.text.partition(" ")[0] for event in journal if event.kind == LIFTED)}
    facts = facts_of(store, setup, rules, told, earlier, clock, golden=golden)
    held = [active for active in active_locks(facts) if active.lock.code not in open_now]
    if held:
        lines = "\n".join(f"  {active}{_whose(who, active)}" for active in held)
        refuse(
            store, setup, who, clock, about=unit, text="; ".join(f"{one.lock.code} ({one.detail})" for one in held),
            codes=tuple(one.lock.code for one in held), details=tuple(one.detail for one in held),
            told=f"station {station_of(setup)} is locked, nothing was measured:\n{lines}",
        )  # fmt: skip
    notes = tuple((LIFTED, f"{code} by {who}: {reason}") for code, reason in lifted.items())
    if golden or attempt_of(journal) is not None:
        return notes
    retest = retest_of(earlier, attempts=rules.attempts)
    begun = Attempt(
        unit=unit, job=setup.job.name, station=station_of(setup), number=retest.attempt, most=rules.attempts,
        failed_before=retest.failed_before, repaired=asked.repaired,
    )  # fmt: skip
    return ((ATTEMPT, attempt_text(begun)), *notes)


def _whose(who: Who, active: ActiveLock) -> str:
    """Who may lift a lock here, by the people file."""
    if who.people is None or not active.lock.by_option:
        return ""
    return f" (here: {' or '.join(lifting(who.people, active.lock.code)) or 'nobody'})"


def note_verdict(store: Store, run_id: str, result: RunResult, clock: Clock) -> str:
    """Write how a counted run ended into its journal; what is to be said of the attempt. Nothing for other runs."""
    attempt = attempt_of(store.events(run_id))
    if attempt is None:
        return ""
    add_note(store, run_id, VERDICT, ended_as_text(how_it_ended(result)), clock)
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


def _lifts(asked: Asked) -> dict[str, str]:
    found: dict[str, str] = {}
    allowed = [code for code, lock in LOCKS.items() if lock.by_option]
    for lift in asked.lifts:
        code, _, reason = lift.partition("=")
        if code not in allowed or not reason.strip():
            raise UsageError(f"--lift: got {lift!r}; allowed: CODE=REASON with a code of {', '.join(allowed)}")
        found[code] = reason.strip()
    return found
