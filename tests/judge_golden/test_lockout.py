"""Lock-outs and retests: every lock of the table holds when it must and only then."""

from __future__ import annotations

import dataclasses
import datetime as dt
import pickle

import pytest

from harness.errors import ExitCode, LockedOut
from harness.judge.lockout import LOCKS, FailedAt, GoldenState, StationFacts, active_locks, retest_of
from harness.values import Certificate, Outcome

PASS, FAIL, INVALID, OPEN = Outcome.PASS, Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE
NOW = dt.datetime(2026, 11, 30, 12, 0, tzinfo=dt.UTC)
HOUR = dt.timedelta(hours=1)
GOLDEN = GoldenState(unit="G1", outcome=PASS, at=NOW - 11 * HOUR)
DUE = Certificate(role="meter", number="C7", laboratory="lab", calibrated="2025-11-30", valid_until="2026-11-30")
FIT = StationFacts(
    at=NOW, newest_record=NOW - HOUR, simulated=False, simulated_allowed=False, certificates=(DUE,), free_mb=5000.0,
    least_free_mb=1000.0, golden=GOLDEN, golden_hours=12.0, is_golden=False, since_golden=(), equal_failures=3,
    unit_runs=(), attempts=3,
)  # fmt: skip


def codes(**changed):
    return [active.lock.code for active in active_locks(dataclasses.replace(FIT, **changed))]


def failed(unit, place="gain ch1 2V 100 %", outcome=FAIL):
    return FailedAt(unit=unit, outcome=outcome, place=place)


THREE = (failed("A1"), failed("A2"), failed("A3"))
HELD = {
    "golden-missing": {"golden": None},
    "golden-old": {"golden": dataclasses.replace(GOLDEN, at=NOW - 13 * HOUR)},
    "golden-failed": {"golden": dataclasses.replace(GOLDEN, outcome=FAIL)},
    "equal-failures": {
        "since_golden": (failed("A0", outcome=PASS), failed("A1"), failed("A2", outcome=INVALID), *THREE[1:])
    },
    "calibration-due": {"at": NOW + 24 * HOUR, "golden": dataclasses.replace(GOLDEN, at=NOW + 23 * HOUR)},
    "calibration-unknown": {"certificates": (dataclasses.replace(DUE, valid_until=""),)},
    "files-unknown": {"unreleased": ("limits a.toml",)},
    "fixture-worn": {"fixture_runs": 500, "fixture_cycles": 500},
    "simulated-bench": {"simulated": True},
    "clock-back": {"newest_record": NOW + 2 * dt.timedelta(minutes=1)},
    "disk-low": {"free_mb": 999.0},
    "quarantine": {"unit_runs": (FAIL, OPEN, INVALID, FAIL)},
    "retest-again": {"attempts": 9, "unit_runs": (FAIL, PASS, FAIL)},
}


def test_a_station_that_is_fit_has_no_lock():
    assert codes() == []


def test_every_lock_of_the_table_has_its_case():
    assert HELD.keys() == LOCKS.keys()


@pytest.mark.parametrize("code", HELD)
def test_a_lock_holds_and_says_who_lifts_it(code):
    (active,) = active_locks(dataclasses.replace(FIT, **HELD[code]))
    assert active.lock.code == code
    assert str(active).startswith(f"{code}: {active.lock.text} (")
    assert str(active).endswith(f"lifted by {active.lock.lift}")


@pytest.mark.parametrize(
    "changed",
    [
        {"golden": dataclasses.replace(GOLDEN, at=NOW - 12 * HOUR)},
        {"since_golden": THREE[:2]},
        {"since_golden": (*THREE[:2], failed("A3", "gain ch1 5V 100 %"))},
        {"since_golden": (*THREE, failed("A4", outcome=PASS))},
        {"since_golden": (*THREE, failed("A4", outcome=OPEN))},
        {"fixture_runs": 499, "fixture_cycles": 500},
        {"fixture_runs": 10**6},
        {"newest_record": None},
        {"newest_record": NOW + dt.timedelta(seconds=59)},
        {"simulated": True, "simulated_allowed": True},
        {"free_mb": None},
        {"free_mb": 1000.0},
        {"unit_runs": (FAIL, FAIL)},
        {"unit_runs": (FAIL, FAIL, PASS)},
        {"unit_runs": (INVALID, INVALID, INVALID, INVALID)},
    ],
)
def test_at_its_edge_no_lock_holds(changed):
    assert codes(**changed) == []


def test_a_golden_check_is_kept_out_by_what_spoils_it_and_not_by_what_it_lifts():
    assert codes(is_golden=True, golden=None, since_golden=THREE, unit_runs=(FAIL,) * 5, simulated=True) == [
        "simulated-bench"
    ]


def test_a_reference_that_is_being_built_says_so():
    (active,) = active_locks(dataclasses.replace(FIT, golden=dataclasses.replace(GOLDEN, outcome=OPEN)))
    assert "still builds its reference" in str(active)


@pytest.mark.parametrize(
    ("runs", "attempt", "failed_before", "used_up", "again"),
    [
        ((), 1, False, False, False),
        ((PASS, PASS), 3, False, False, False),
        ((FAIL,), 2, True, False, False),
        ((INVALID, OPEN), 2, True, False, False),
        ((FAIL, FAIL, FAIL), 4, True, True, False),
        ((FAIL, PASS, FAIL), 4, True, True, True),
    ],
)
def test_retests_are_counted(runs, attempt, failed_before, used_up, again):
    found = retest_of(runs, attempts=3)
    assert (found.attempt, found.failed_before, found.used_up, found.again) == (attempt, failed_before, used_up, again)


def test_a_lock_is_an_error_of_its_own_and_travels():
    error = pickle.loads(pickle.dumps(LockedOut("locked", codes=("disk-low",))))
    assert (str(error), error.codes, error.exit_code) == ("locked", ("disk-low",), ExitCode.LOCKED)
