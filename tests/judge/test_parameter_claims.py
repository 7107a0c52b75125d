"""A fitted parameter's claim carries the guard band and the margin that decided it."""

from __future__ import annotations

import pytest

from harness.app.run import judge_of
from harness.app.setup import read_setup
from tests.faults.layers import JOB, readings_of
from tests.judge.run_builder import FULL, healthy, judged


def test_the_claim_shows_the_limit_that_decided_it(
    monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    monkeypatch.chdir(request.config.rootpath)
    setup = read_setup(JOB)
    judge = judge_of(setup)
    for reading in readings_of(setup, "pregain", 2.0, seed=1):
        judge.take(reading)
    claims = [claim for claim in judge.result().judgements if claim.item == "parameter"]
    assert claims
    for claim in claims:
        # Closed form: distance to the nearest of the demo's limits of -1 and +1 percent; its guard band is 0.1.
        assert claim.guard == 0.1
        assert claim.measured is not None
        assert claim.margin == pytest.approx(1.0 - abs(claim.measured), abs=1e-12)


def test_the_claim_carries_rule_uncertainty_and_ratio() -> None:
    result = judged(FULL, [healthy(rung) for rung in FULL.rungs])
    rows = {(row.channel, row.name): row for row in result.parameters if row.outcome is not None}
    made = [claim for claim in result.judgements if claim.item == "parameter"]
    assert len(made) == len(rows) > 0
    for claim, row in zip(made, rows.values(), strict=True):
        assert (claim.outcome, claim.measured, claim.margin) == (row.outcome, row.deviation_percent, row.margin)
        assert claim.rule == "guarded"
        assert claim.expanded == row.expanded_percent
        # 231 pairs and more than 7000 degrees of freedom a fit: Student's factor is 2 to four digits.
        assert claim.expanded == pytest.approx(2.0 * row.u_percent, rel=1e-3)
        assert claim.tur_ratio is not None
        assert claim.conformance_ratio is not None
