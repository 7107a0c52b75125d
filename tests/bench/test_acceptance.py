"""The acceptance suite: one test per channel, range and claim of the job's ladder."""

from __future__ import annotations

import pytest

from fixtures.claims import GainClaim
from fixtures.plugin import OUTCOMES
from harness.values import RunHeader, RunResult


def test_claim(gain_claim: GainClaim, gain_run: tuple[RunHeader, RunResult], pytestconfig: pytest.Config) -> None:
    _, result = gain_run
    assert result.settings, "zero settings are never a success"
    pytestconfig.stash[OUTCOMES].settle(gain_claim, result)
