"""The acceptance suite: one test per channel, range and claim of the job's ladder; ranges are swept as asked for."""

from __future__ import annotations

import pytest

from harness.app.suite import Decided
from harness.values import Outcome


def test_claim(decided_claim: Decided) -> None:
    if decided_claim.outcome is Outcome.INCONCLUSIVE:
        pytest.skip(decided_claim.text)
    if decided_claim.outcome is Outcome.FAIL:
        pytest.fail(decided_claim.text, pytrace=False)
