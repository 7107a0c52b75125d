"""A fitted parameter's claim carries the guard band and the margin that decided it."""

from __future__ import annotations

import pytest

from harness.app.run import judge_of
from harness.app.setup import read_setup
from tests.faults.layers import JOB, readings_of


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
