"""Readings beside the ladder carry their uncertainty into every rule; where none is stated, none is made up."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from harness.app.setup import Setup
from harness.judge.claims.repeatability import added_scatter
from harness.values import Judgement, Outcome, Purpose, RunResult
from tests.judge.test_extra_claims import SETUP, claims, extra_of, reasons, run
from tests.studies.false_fail import under

ITEMS = {
    "two-level": Purpose.TWO_LEVEL, "second-frequency": Purpose.SECOND_FREQUENCY, "crosstalk": Purpose.CROSSTALK,
    "input-noise": Purpose.QUIET,
}  # fmt: skip
NOTHING_STATED = ("two-level", "second-frequency", "crosstalk")


def by_rule(rule: str, *, stated: bool = True) -> Setup:
    bench = SETUP.bench if stated else dataclasses.replace(
        SETUP.bench, file=SETUP.bench.file.model_copy(update={"uncertainty": None})
    )  # fmt: skip
    return dataclasses.replace(SETUP, limits=under(SETUP.limits, rule), bench=bench)


def first(result: RunResult, item: str) -> Judgement:
    return claims(result, item)[0]


@pytest.mark.parametrize("item", ITEMS)
def test_each_number_has_a_doubt_and_a_chance(item: str) -> None:
    result = run([ITEMS[item]], lambda rung: extra_of(rung, noise_code=3.0, gain_ratio=0.005 if rung.aggressor else 1))
    claim = first(result, item)
    assert claim.expanded is not None
    assert claim.high is not None
    # Closed form: the normal distribution between the limits, of half of U.
    edges = [-math.inf if claim.low is None else claim.low, claim.high]
    assert claim.measured is not None
    places = [(edge - claim.measured) / claim.expanded * 2.0 / math.sqrt(2.0) for edge in edges]
    chance = (math.erf(places[1]) - math.erf(places[0])) / 2.0
    assert claim.conformance_ratio == pytest.approx(chance, rel=1e-9)
    if claim.low is not None:
        assert claim.tur_ratio == pytest.approx((claim.high - claim.low) / 2.0 / claim.expanded, rel=1e-12)


def test_the_noise_of_a_record_is_known_to_a_ninetieth() -> None:
    claim = first(run([Purpose.QUIET], lambda rung: extra_of(rung, noise_code=3.0)), "input-noise")
    samples = SETUP.device.acquisition.samples
    assert claim.measured is not None
    assert claim.expanded == pytest.approx(2.0 * claim.measured / math.sqrt(2.0 * samples), rel=0.03)


@pytest.mark.parametrize("item", NOTHING_STATED)
def test_a_bench_that_states_nothing_leaves_such_a_rule_undecided(item: str) -> None:
    setup = by_rule("managed", stated=False)
    result = run([ITEMS[item]], lambda rung: extra_of(rung, gain_ratio=0.005 if rung.aggressor else 1.0), setup)
    assert first(result, item).outcome is Outcome.INCONCLUSIVE
    assert reasons(result, item)[0].endswith("rule managed needs an uncertainty and none is stated")
    assert first(result, item).expanded is None


def test_a_bend_as_far_inside_the_limit_as_its_doubt_passes_by_guard_band_and_no_farther() -> None:
    # The limit is 0.2 percent; U of a pair at fills 0.4 and 0.8 without noise is about 0.02 here.
    setup = by_rule("guard-band")
    doubt = first(run([Purpose.TWO_LEVEL], setup=setup), "two-level").expanded
    assert doubt is not None
    assert 0.005 < doubt < 0.05
    for apart, outcome in ((-2.0, Outcome.PASS), (0.0, Outcome.INCONCLUSIVE), (2.0, Outcome.FAIL)):
        off = 0.2 + apart * doubt
        bend = math.exp(-off / 100.0)
        result = run(
            [Purpose.TWO_LEVEL],
            lambda rung, bend=bend: extra_of(rung, gain_ratio=bend if rung.fill_ratio > 0.6 else 1.0),
            setup,
        )
        assert {claim.outcome for claim in claims(result, "two-level")} == {outcome}, off


def test_the_doubt_of_an_added_scatter_reaches_towards_the_limit() -> None:
    unit = np.linspace(-1.0, 1.0, 10)
    unit = unit / unit.std(ddof=1)
    found = added_scatter(list(1e-6 * unit), list(0.3 * unit))
    # Chi-square with nine degrees of freedom, 2.275 percent on each side, where the other scatter vanishes.
    low, high = 0.3 * math.sqrt(9.0 / 19.301), 0.3 * math.sqrt(9.0 / 2.6277)
    assert found.bounds_percent == pytest.approx((low, high), rel=1e-3)
    assert found.expanded_percent(0.05) == pytest.approx(found.added_percent - low, rel=1e-3)
    assert found.expanded_percent(0.5) == pytest.approx(high - found.added_percent, rel=1e-3)
    assert found.expanded_percent(None) == found.expanded_percent(0.5)
    # Scatters alike: nothing is added, and how much might be is said.
    alike = added_scatter(list(0.01 * unit), list(0.01 * unit))
    assert alike.added_percent == 0.0
    assert 0.01 < alike.expanded_percent(0.05) < 0.03
    # Far less scatter with toggling than without is chance, and no proof that the relay is perfect.
    less = added_scatter(list(0.03 * unit), list(0.01 * unit))
    assert (less.added_percent, less.expanded_percent(0.05)) == (0.0, pytest.approx(0.01))
