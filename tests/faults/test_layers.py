"""Layers of judgement: each is blind where another sees."""

from __future__ import annotations

import pytest

from harness.app.setup import read_setup
from harness.values import Outcome
from tests.faults.layers import ABSOLUTE, JOB, RESIDUAL, readings_of, verdict


# Closed form: 2 % on a ratio is 2 % of gain, the absolute limit itself, but twice the limit of 1 % on the parameter;
# 2 % on bit 0 is at most 0.05 % of gain (weight 1 in codes from 41 on): harmless in every layer.
@pytest.mark.parametrize(
    ("place", "percent", "residual"),
    [("pregain", 2.0, Outcome.FAIL), ("attenuator 1:10", -2.0, Outcome.FAIL), ("bit 0", 2.0, Outcome.PASS)],
)
def test_the_fitted_law_sees_what_the_absolute_limit_leaves_open(
    monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest, place: str, percent: float, residual: Outcome
) -> None:
    monkeypatch.chdir(request.config.rootpath)
    setup = read_setup(JOB)
    readings = readings_of(setup, place, percent, seed=1)
    assert verdict(setup, readings, ABSOLUTE) is not Outcome.FAIL
    assert verdict(setup, readings, RESIDUAL) is residual
    if residual is Outcome.FAIL:
        assert verdict(setup, readings, ABSOLUTE + RESIDUAL) is Outcome.FAIL
