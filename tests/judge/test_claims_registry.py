"""The registry of claims: each once, each in a module of its own, rows of the limits file honoured where they hold."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

import harness.judge.claims as claims
from harness.judge import CLAIMS, ITEMS, LimitSet
from harness.judge.claims import ClaimKind, Need, Scope
from harness.judge.measured import measure
from harness.judge.rows import Gathered
from harness.values import Outcome, Setting
from tests.judge.run_builder import FULL, healthy, judged, outcomes, setup_at

RANGE = tuple((channel, 3, fine) for channel in (1, 2) for fine in (0, 5, 10, 15, 20))
NOT_CLAIMS = {"__init__", "context", "kind", "registry"}


def test_every_module_of_the_package_is_registered() -> None:
    modules = {path.stem for path in Path(claims.__path__[0]).glob("*.py")} - NOT_CLAIMS
    described = {
        module: [v for v in vars(getattr(claims, module)).values() if isinstance(v, ClaimKind)] for module in modules
    }
    assert all(described.values()), described
    registered = [kind for kinds in described.values() for kind in kinds]
    assert sorted(k.item for k in registered) == sorted(k.item for k in CLAIMS)


def test_items_are_unique_and_units_known() -> None:
    assert len({kind.item for kind in CLAIMS}) == len(CLAIMS)
    assert {"gain", "fine-step", "coarse-step", "residual", "parameter", "monotonic", "word", "realness"} <= set(ITEMS)
    assert not {"measurable", "station"} & set(ITEMS)


@pytest.mark.parametrize("kind", CLAIMS, ids=lambda kind: kind.item)
def test_a_claim_of_one_reading_needs_no_fit_and_is_about_a_setting(kind: ClaimKind) -> None:
    if kind.provisional:
        assert kind.scope is Scope.SETTING
        assert Need.FIT not in kind.needs
    assert kind.needs or kind.purposes or kind.scope is Scope.RUN


def test_each_judgement_carries_the_unit_of_its_kind() -> None:
    setup = setup_at(*RANGE)
    result = judged(setup, map(healthy, setup.rungs))
    assert {claim.unit for claim in result.judgements if claim.item in ("gain", "fine-step")} == {"percent"}
    units = {kind.item: kind.unit for kind in CLAIMS}
    for claim in result.judgements:
        assert claim.unit == units[claim.item]


@pytest.mark.parametrize("item", ["gain", "residual", "fine-step", "monotonic", "word", "realness"])
def test_a_row_for_one_channel_requires_nothing_of_the_other(item: str) -> None:
    only = FULL.limits[item].model_copy(update={"channels": (2,)})
    setup = dataclasses.replace(setup_at(*RANGE), limits=LimitSet([(item, only)], coarse_names=()))
    result = judged(setup, map(healthy, setup.rungs))
    assert {s.channel for s in outcomes(result, item) if s} == {2}


class Budget:
    """U of 3 percent, k = 2, wherever it is asked for."""

    def gain_expanded_percent(self, setting: Setting) -> float:
        return 3.0

    own_expanded_percent = gain_expanded_percent

    def step_expanded_percent(self, lower: Setting, upper: Setting) -> float:
        return 3.0


def test_uncertainty_in_the_context_reaches_the_claim() -> None:
    # Closed form: limits of +-2 percent and U of 3 percent are a TUR of 2/3; below 1 nothing passes.
    setup = setup_at((1, 3, 0))
    rung = setup.rungs[0]
    measured = measure(
        healthy(rung), device=setup.device, bus=None, latches=(), input_ratio=setup.input_ratio
    )
    alone = Gathered(prediction=rung.prediction, final=(measured,), planned=1, attempts=1)
    context = claims.Context(
        law=setup.law,
        device=setup.device,
        limits=LimitSet([("gain", FULL.limits["gain"])]),
        captured=False,
        gathered={rung.setting: alone},
        uncertainty=Budget(),
    )
    made = {kind.item: claim for kind, claim in claims.judge_all(context)}
    assert sorted(made) == ["gain", "measurable"]
    assert made["gain"].outcome is Outcome.INCONCLUSIVE
    assert made["gain"].tur_ratio == pytest.approx(2.0 / 3.0)
