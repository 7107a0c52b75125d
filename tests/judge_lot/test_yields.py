"""Attempts to yields."""

from __future__ import annotations

import dataclasses

import pytest

from harness.judge.lot import LotGatherer
from harness.values import LotRun, Outcome, RunSummary

SHORT = RunSummary(
    run_id="r", at_utc="", software="", limits_sha256="", verdict=Outcome.PASS, complete=True, seconds=None, tested=1,
    failing=0, items=(), diagnoses=(), invalid=(), charted=(),
)  # fmt: skip
P, F, G, X = Outcome.PASS, Outcome.FAIL, Outcome.INCONCLUSIVE, Outcome.INVALID


def lot_of(attempts: dict[str, list[Outcome]], **more):
    gatherer = LotGatherer()
    for unit, outcomes in attempts.items():
        for verdict in outcomes:
            short = dataclasses.replace(SHORT, verdict=verdict, **more)
            gatherer.take(LotRun(run_id="r", unit=unit, started_utc="", job="", device="", summary=short))
    return gatherer.result()


@pytest.mark.parametrize(
    ("attempts", "first", "final", "retest"),
    [
        ([P], 1, 1, 0),
        ([F, P], 0, 1, 1),
        # The last attempt counts, not the best one.
        ([P, F], 1, 0, 0),
        ([G, P], 0, 1, 1),
        # INVALID is no attempt at the unit.
        ([X, P], 1, 1, 0),
        # At most three; then it is no pass any more.
        ([F, F, P], 0, 1, 1),
        ([F, F, F, P], 0, 0, 0),
    ],
)
def test_attempts(attempts, first, final, retest):
    lot = lot_of({"A": attempts})
    assert (lot.first_pass.events, lot.final.events, lot.retest_pass.events) == (first, final, retest)
    assert lot.quarantine == (len(attempts) > 3)
    assert lot.not_judged == attempts.count(X)


def test_a_unit_that_was_never_judged_is_in_no_yield():
    lot = lot_of({"A": [X, X], "B": [P]})
    assert (lot.never_judged, lot.first_pass.trials, lot.units) == (1, 1, 2)
    assert lot_of({"A": [X]}).first_pass.ratio is None


def test_stopping_hides_no_failure():
    assert lot_of({"A": [F]}, complete=False).first_pass.trials == 1
    assert lot_of({"A": [P]}, complete=False).first_pass.trials == 0


@pytest.mark.parametrize(
    ("before", "since", "first", "final", "repaired"),
    [
        ([F, F], [P], (0, 1), (0, 1), (1, 1)),
        ([F], [F, P], (0, 1), (0, 1), (1, 1)),
        ([F], [P, F], (0, 1), (0, 1), (0, 1)),
        # A pass on retest stays one, whatever was repaired later.
        ([F, P], [F], (0, 1), (1, 1), (0, 1)),
        # A unit whose first runs are of an earlier lot.
        ([], [P], (0, 0), (0, 0), (1, 1)),
        # Counted anew, and no more than three either.
        ([F, F, F], [F, F, P], (0, 1), (0, 1), (1, 1)),
        ([F], [F, F, F, P], (0, 1), (0, 1), (0, 1)),
        ([F], [X], (0, 1), (0, 1), (0, 0)),
    ],
)
def test_what_a_repair_has_made_of_a_unit_counts_apart(before, since, first, final, repaired):
    gatherer = LotGatherer()
    for place, verdict in enumerate([*before, *since]):
        short = dataclasses.replace(SHORT, verdict=verdict)
        gatherer.take(
            LotRun(
                run_id="r", unit="A", started_utc="", job="", device="", summary=short, repaired=place == len(before)
            )
        )
    lot = gatherer.result()
    shares = (lot.first_pass, lot.final, lot.repaired)
    assert [(one.events, one.trials) for one in shares] == [first, final, repaired]
