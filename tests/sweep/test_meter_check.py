"""A reference meter that contradicts source and unit, or a source that contradicts meter and unit."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from harness.app.bench_open import open_bench
from harness.app.run import plan_of
from harness.app.setup import read_setup
from harness.errors import StationFault
from harness.sweep.checks.meter import check_meter
from harness.sweep.hands import Hands
from harness.sweep.journal import Journal
from harness.sweep.self_check import self_check
from tests.sweep.spied_bench import JOB, Notebook, rungs_at

RUNGS = rungs_at((1, 3, 0), (2, 3, 0))
LABELS = [rung.prediction.label for rung in RUNGS]
METERED = str(Path(JOB).parents[1] / "benches" / "simulated-metered.toml")


def held(by_meter: float | None, meter_ratio: float | None, *, allowed_percent: float | None = 2.5) -> None:
    """Both channels show a gain over the law by the meter; the meter reads `meter_ratio` of what the source claims."""
    ratios = {} if meter_ratio is None else dict.fromkeys(LABELS, meter_ratio)
    gentle: Any = SimpleNamespace(plan=SimpleNamespace(agreement_percent=allowed_percent), meter_ratio=ratios)
    check_meter(gentle, dict.fromkeys(LABELS, by_meter), RUNGS)


def test_a_meter_against_source_and_unit_is_the_station() -> None:
    # 5 % too high: the gain by the meter is 1/1.05 of the law, by the source it is the law.
    with pytest.raises(StationFault, match=r"the meter is \+4.9 % off what the source claims, .* is 2.5 %") as caught:
        held(1.0 / 1.05, 1.05)
    assert caught.value.fault == "reference-meter-drifted"
    assert "send the meter to be calibrated" in str(caught.value)


@pytest.mark.parametrize(
    ("by_meter", "meter_ratio", "allowed_percent"),
    [
        (1.0, 0.5, 2.5),  # the source is wrong: unit and meter agree
        (0.99, 1.02, 2.5),  # within what both state
        (0.8, 1.05, 2.5),  # the unit is wrong by both
        (None, 1.05, 2.5),
        (0.95, None, 2.5),
        (0.95, 1.05, None),
    ],
)
def test_nobody_else_sends_the_meter_away(
    by_meter: float | None, meter_ratio: float | None, allowed_percent: float | None
) -> None:
    held(by_meter, meter_ratio, allowed_percent=allowed_percent)


@pytest.mark.parametrize(("drift", "locked"), [("5", True), ("0.5", False)])
def test_on_a_bench_with_a_meter(drift: str, locked: bool) -> None:
    fault = f"reference-meter-drifted={drift}"
    setup, seen = read_setup(JOB, bench_path=METERED), []
    plan = plan_of(setup)
    # Source 2 % and 0.5 % of a range, meter 0.05 % and 0.02 %.
    assert plan.agreement_percent == pytest.approx(2.57)
    with open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=(fault,)) as opened:
        hands = Hands(opened.bench, plan)
        hands.prepare()
        try:
            self_check(hands, plan, Journal(Notebook()))
        except StationFault as error:
            seen.append(error.fault)
    assert seen == (["reference-meter-drifted"] if locked else [])
