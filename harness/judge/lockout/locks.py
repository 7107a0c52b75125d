"""Which locks hold."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from harness.judge.lockout.facts import FailedAt, StationFacts
from harness.judge.lockout.retest import retest_of
from harness.judge.lockout.table import LOCKS, ActiveLock
from harness.values import Outcome

CLOCK_SLACK = dt.timedelta(minutes=1)
"""As far as clocks of one network differ, and as synchronising steps them."""


def active_locks(facts: StationFacts) -> tuple[ActiveLock, ...]:
    """The locks that hold for a run about to begin.

    Args:
        facts: of station and unit; all times with a time zone.
    Returns:
        the locks, in order of the table; none for a station that is fit.
    Source:
        practice: lock-outs of a production station.
    """
    found = (*_golden(facts), *_certificates(facts), *_line(facts), *_host(facts), *_unit(facts))
    order = list(LOCKS)
    return tuple(sorted(found, key=lambda active: order.index(active.lock.code)))


def _golden(facts: StationFacts) -> Iterator[ActiveLock]:
    if facts.is_golden:
        return
    allowed = f"allowed are {facts.golden_hours:g} h"
    golden = facts.golden
    if golden is None:
        yield _active("golden-missing", allowed)
    else:
        age_h = (facts.at - golden.at).total_seconds() / 3600.0
        if golden.outcome is not Outcome.PASS:
            said = "still builds its reference" if golden.outcome is Outcome.INCONCLUSIVE else golden.outcome
            yield _active("golden-failed", f"unit {golden.unit}, {age_h:.1f} h ago: {said}")
        elif age_h > facts.golden_hours:
            yield _active("golden-old", f"unit {golden.unit}, {age_h:.1f} h ago; {allowed}")
    last = _last_failures(facts)
    if len(last) >= facts.equal_failures and len({failed.place for failed in last}) == 1:
        units = ", ".join(dict.fromkeys(failed.unit for failed in last))
        yield _active("equal-failures", f"{len(last)} in a row, {units}: {last[0].place}")


def _last_failures(facts: StationFacts) -> list[FailedAt]:
    """The newest runs that said something of a unit, if all of them failed."""
    telling = [run for run in facts.since_golden if run.outcome is not Outcome.INVALID]
    last = telling[-facts.equal_failures :]
    return last if all(run.outcome is Outcome.FAIL for run in last) else []


def _certificates(facts: StationFacts) -> Iterator[ActiveLock]:
    for certificate in facts.certificates:
        if not certificate.valid_until:
            yield _active("calibration-unknown", f"the {certificate.role}")
        elif facts.at.date() > dt.date.fromisoformat(certificate.valid_until):
            yield _active(
                "calibration-due",
                f"the {certificate.role}, certificate {certificate.number} valid until {certificate.valid_until}",
            )


def _line(facts: StationFacts) -> Iterator[ActiveLock]:
    if facts.unreleased:
        yield _active("files-unknown", ", ".join(facts.unreleased))
    if facts.fixture_cycles is not None and facts.fixture_runs >= facts.fixture_cycles:
        yield _active("fixture-worn", f"{facts.fixture_runs} runs, allowed are {facts.fixture_cycles}")


def _host(facts: StationFacts) -> Iterator[ActiveLock]:
    if facts.simulated and not facts.simulated_allowed:
        yield _active("simulated-bench", "allowed is a real one")
    if facts.newest_record is not None and facts.newest_record - facts.at > CLOCK_SLACK:
        yield _active(
            "clock-back", f"it is {facts.at:%Y-%m-%d %H:%M}Z, the record has {facts.newest_record:%Y-%m-%d %H:%M}Z"
        )
    if facts.free_mb is not None and facts.free_mb < facts.least_free_mb:
        yield _active("disk-low", f"{facts.free_mb:.0f} MB free, allowed are {facts.least_free_mb:g} MB or more")


def _unit(facts: StationFacts) -> Iterator[ActiveLock]:
    if facts.is_golden:
        return
    retest = retest_of(facts.unit_runs, attempts=facts.attempts)
    if retest.used_up:
        yield _active("quarantine", f"{retest.attempt - 1} runs, allowed are {facts.attempts}")
    elif retest.again:
        yield _active("retest-again", f"{retest.attempt - 1} runs")


def _active(code: str, detail: str) -> ActiveLock:
    return ActiveLock(lock=LOCKS[code], detail=detail)
