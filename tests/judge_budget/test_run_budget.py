"""The budget of a whole run in its result: settings, steps, tables, weights of the fit."""

from __future__ import annotations

import dataclasses

import pytest

from harness.app.setup import read_setup
from harness.values import RunResult
from tests.judge.run_builder import FULL, JOB, healthy, judged

CHANNEL_1 = dataclasses.replace(FULL, rungs=tuple(rung for rung in FULL.rungs if rung.setting.channel == 1))


@pytest.fixture(scope="module")
def result() -> RunResult:
    return judged(CHANNEL_1, [healthy(rung) for rung in CHANNEL_1.rungs])


def test_every_setting_has_both_uncertainties_and_its_ratio(result: RunResult) -> None:
    claims = {claim.setting: claim for claim in result.judgements if claim.item == "gain"}
    residuals = {claim.setting: claim for claim in result.judgements if claim.item == "residual"}
    for row in result.settings:
        assert row.expanded_percent is not None
        assert row.own_percent is not None
        # Normal parts of 0.3 and 0.1 % at k = 2.6 lead; the rest is a few hundredths.
        assert row.expanded_percent == pytest.approx(2.0 * (0.115**2 + 0.0385**2 + 0.02**2) ** 0.5, rel=0.03)
        # The fit takes part of the error of a source range up, and that of its neighbours into its parameters.
        assert 2.0 * 0.02 < row.own_percent < 2.0 * (0.0385**2 + 0.02**2) ** 0.5 * 1.2
        assert row.tur_ratio == pytest.approx(2.0 / row.expanded_percent, rel=1e-9)
        assert claims[row.setting].expanded == row.expanded_percent
        assert residuals[row.setting].expanded == row.own_percent


def test_steps_carry_less_than_gains(result: RunResult) -> None:
    steps = [claim for claim in result.judgements if claim.item in ("fine-step", "coarse-step")]
    least = min(row.expanded_percent for row in result.settings if row.expanded_percent is not None)
    assert steps
    assert all(claim.expanded is not None and claim.expanded < least for claim in steps)
    # The levels of most fine steps lie in one range of the source: only repeatability and noise are left.
    assert min(claim.expanded for claim in steps if claim.expanded is not None) == pytest.approx(
        2.0 * 2.0**0.5 * 0.02, rel=0.15
    )


def test_one_table_for_each_state_of_relays_and_pregain(result: RunResult) -> None:
    groups = [table.group.split(" (")[0] for table in result.budgets]
    controls = [("1:100", 0), ("1:100", 1), ("1:10", 0), ("1:10", 1), ("1:1", 0), ("1:1", 1)]
    hardware = [f"attenuator {state}, pregain {bit}" for state, bit in controls]
    assert sorted(groups) == sorted([*hardware, "attenuator 1:1, pregain 1, arithmetic ×2"])
    assert groups[0] == "attenuator 1:100, pregain 0"
    for table in result.budgets:
        assert table.expanded_percent == pytest.approx(2.0 * table.standard_percent, rel=1e-6)
        assert [row.name for row in table.rows][:2] == ["source, reading", "source, flatness"]


def test_the_fit_weighs_settings_by_the_stated_numbers(result: RunResult) -> None:
    bare = dataclasses.replace(
        CHANNEL_1,
        bench=dataclasses.replace(CHANNEL_1.bench, file=CHANNEL_1.bench.file.model_copy(update={"uncertainty": None})),
    )
    without = judged(bare, [healthy(rung) for rung in bare.rungs])
    pairs = zip(result.parameters, without.parameters, strict=True)
    by_name = {stated.name: (stated.u_percent, plain.u_percent) for stated, plain in pairs if stated.identifiable}
    # Per reading 0.02 % stand for the device either way. With a statement the source comes on top: what is common to
    # all in ln K (0.3 % at k = 2.6), the errors of its ranges (0.1 % at k = 2.6) in what rests on different ranges.
    assert by_name["ln K"][0] == pytest.approx((0.115**2 + 0.03**2) ** 0.5, rel=0.05)
    # The ladder reads both sides of each ratio in one range of the source too, so that little of it comes through.
    for name, (with_source, without_source) in by_name.items():
        assert without_source < with_source, name
        assert name == "ln K" or with_source < 0.0385


def test_without_a_statement_there_is_no_budget() -> None:
    setup = read_setup(JOB)
    bench = dataclasses.replace(setup.bench, file=setup.bench.file.model_copy(update={"uncertainty": None}))
    bare = dataclasses.replace(setup, bench=bench, rungs=setup.rungs[:20])
    result = judged(bare, [healthy(rung) for rung in bare.rungs])
    assert result.budgets == ()
    assert all(row.expanded_percent is row.own_percent is row.tur_ratio is None for row in result.settings)
    by_source = {"gain", "residual", "fine-step", "coarse-step", "channel-match"}
    assert all(claim.expanded is None for claim in result.judgements if claim.item in by_source)
