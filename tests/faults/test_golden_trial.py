"""The meter drifts: a golden unit sees at its threshold what no ladder of another unit can."""

from __future__ import annotations

import pytest

from tests.faults.golden_trial import golden_trial


@pytest.mark.parametrize(
    ("faults", "outcome"),
    [
        ((), "PASS"),
        (("reference-meter-drifted=0.07",), "PASS"),
        (("reference-meter-drifted=0.5",), "LOCKED"),
        (("pad-wrong=0.5",), "LOCKED"),
    ],
)
def test_a_golden_unit_tells_a_level_that_moved(faults: tuple[str, ...], outcome: str) -> None:
    trial = golden_trial("tarn-vg-1 golden", faults, seed=1)
    assert trial.outcome == outcome
    assert all(trial.names(fault.split("=")[0]) for fault in faults) is (outcome == "LOCKED" or not faults)
