"""Fit of a law: injected parameters come back within their uncertainty; what no reading can tell is said."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from harness.errors import FitFailed, NotFinite, UsageError
from harness.law import LN_K, design_matrix, fit_law
from harness.values import Setting

CONFIGS = Path(__file__).parents[2] / "configs"
TRUE = {LN_K: 0.4, "attenuator 1:10": -0.2, "attenuator 1:100": 0.15, "pregain": 0.1}
"""Deviations, percent."""


def channel(law, number: int = 1) -> list[Setting]:
    return [setting for setting in law.settings() if setting.channel == number]


def unit(law, settings, true=TRUE, *, noise_percent: float = 0.0, seed: int = 0, bits: bool = False) -> np.ndarray:
    """Gains of a unit whose parameters are off."""
    design = design_matrix(law, settings, bits=bits)
    changes = np.asarray([true.get(name, 0.0) / 100.0 for name in design.names])
    noise = np.random.default_rng(seed).normal(0.0, noise_percent / 100.0, len(settings)) if noise_percent else 0.0
    return np.exp(design.model()(changes)[0] + noise)


def test_parameters_of_the_hr4(law) -> None:
    design = design_matrix(law, channel(law))
    assert design.names == (LN_K, "attenuator 1:10", "attenuator 1:100", "pregain")
    assert design.matrix.shape == (231, 4)
    row = dict(zip(design.names, design.matrix[channel(law).index(Setting(1, 5, 20))], strict=True))
    assert row == {LN_K: 1.0, "attenuator 1:10": 1.0, "attenuator 1:100": 0.0, "pregain": 1.0}
    assert design_matrix(law, channel(law), bits=True).names[4:] == tuple(f"code bit {bit}" for bit in range(8))


def test_parameters_of_the_other_devices(make_law) -> None:
    names = {}
    for name in ("tarn-vg-1", "corrie-ur-2"):
        law = make_law(tomllib.loads((CONFIGS / "devices" / f"{name}.toml").read_text()))
        names[name] = design_matrix(law, channel(law)).names
    assert names["tarn-vg-1"] == (LN_K, "pregain")
    assert names["corrie-ur-2"] == (LN_K, "section x10", "section x100", "second", "code slope")


def test_exact_readings_give_exact_parameters(law) -> None:
    settings = channel(law)
    fit = fit_law(law, settings, unit(law, settings), u_percent=0.05)
    assert fit.converged
    assert fit.dof == 227
    assert fit.statement() == ""
    for name, percent in TRUE.items():
        found = fit.parameter(name)
        assert found.deviation_percent == pytest.approx(percent, abs=1e-8)
        assert found.identifiable
        assert found.prior_percent is None
    tenth = fit.parameter("attenuator 1:10")
    assert tenth.nominal == 0.1
    assert tenth.estimate == pytest.approx(0.1 * math.exp(-0.002))
    assert tenth.u == pytest.approx(tenth.estimate * tenth.u_percent / 100.0)
    assert np.abs(fit.residual_percent).max() < 1e-8
    assert fit.fitted_codes_per_v == pytest.approx(unit(law, settings))
    with pytest.raises(KeyError, match="pregian"):
        fit.parameter("pregian")


def test_injected_parameters_come_back_within_their_uncertainty(law) -> None:
    """500 units: each parameter within 1.96 standard uncertainties in 95 +- 3 % of them (binomial: +- 1 % sd)."""
    settings = channel(law)[::3]
    design = design_matrix(law, settings)
    rng = np.random.default_rng(20261125)
    inside = np.zeros(4)
    for _ in range(500):
        true = rng.normal(0.0, 0.003, 4)
        gains = np.exp(design.log_gains + design.matrix @ true + rng.normal(0.0, 5e-4, len(settings)))
        fit = fit_law(law, settings, gains, u_percent=0.05)
        off = np.asarray([p.deviation_percent for p in fit.parameters]) - 100.0 * true
        inside += np.abs(off) < 1.96 * np.asarray([p.u_percent for p in fit.parameters])
    assert np.all(np.abs(inside / 500.0 - 0.95) <= 0.03), inside / 500.0


def test_a_stuck_relay_in_a_few_settings_hardly_moves_the_fit(law) -> None:
    settings = channel(law)
    gains = unit(law, settings, noise_percent=0.05, seed=3)
    gains[[5, 60, 61, 150]] *= [1.5, 0.1, 2.0, 0.97]
    robust, plain = (fit_law(law, settings, gains, u_percent=0.05, robust=way) for way in (True, False))
    for name, percent in TRUE.items():
        assert robust.parameter(name).deviation_percent == pytest.approx(percent, abs=0.05)
    assert abs(plain.parameter("attenuator 1:10").deviation_percent + 0.2) > 0.5
    assert robust.weight_ratio[60] < 0.01
    assert robust.residual_percent[61] == pytest.approx(100.0 * math.log(2.0), abs=0.3)


def test_scatter_beyond_the_stated_uncertainty_counts(law) -> None:
    settings = channel(law)
    gains = unit(law, settings, noise_percent=0.2, seed=4)
    fit, honest = (fit_law(law, settings, gains, u_percent=u) for u in (0.05, 0.2))
    assert fit.scale_ratio == pytest.approx(4.0, rel=0.2)
    assert fit.parameter(LN_K).u_percent == pytest.approx(honest.parameter(LN_K).u_percent, rel=0.2)


def test_what_one_range_cannot_tell_is_said_and_left_to_priors(law) -> None:
    settings = [setting for setting in channel(law) if setting.coarse in (0, 1)]  # always 1:100, never pre-gain
    fit = fit_law(law, settings, unit(law, settings, noise_percent=0.05), u_percent=0.05)
    assert [p.name for p in fit.parameters] == [LN_K, "attenuator 1:100"]
    assert fit.unidentifiable == (LN_K, "attenuator 1:100")
    assert fit.statement().startswith("these settings cannot tell ln K, attenuator 1:100 apart (least singular value")
    assert fit.parameter(LN_K).prior_percent == 1.0
    assert fit.parameter("attenuator 1:100").prior_percent == 10.0
    # the sum of both is known well; a prior of 1 % keeps ln K near its nominal, the rest goes to the attenuator
    both = fit.parameter(LN_K).deviation_percent + fit.parameter("attenuator 1:100").deviation_percent
    assert both == pytest.approx(0.55, abs=0.05)
    assert fit.parameter(LN_K).u_percent == pytest.approx(1.0, rel=0.05)
    assert fit.covariance[0, 1] < 0.0


def test_a_tolerance_of_the_device_file_is_the_prior(hr4: dict, make_law) -> None:
    hr4["stage"][0]["tolerance"] = {"1:100": 0.3}
    law = make_law(hr4)
    settings = [setting for setting in channel(law) if setting.coarse == 0]
    fit = fit_law(law, settings, unit(law, settings), u_percent=0.05, ln_k_prior_percent=0.5)
    assert fit.parameter("attenuator 1:100").prior_percent == pytest.approx(0.3)
    assert fit.parameter(LN_K).prior_percent == pytest.approx(0.5)


def test_the_weight_of_one_bit(law) -> None:
    """Eight free weights and ln K are not separable: priors of 1 % and 10 % leave a wrong bit where it is."""
    settings = channel(law)
    gains = unit(law, settings, {"code bit 5": -5.0, "pregain": 0.3}, noise_percent=0.03, seed=5, bits=True)
    fit = fit_law(law, settings, gains, u_percent=0.03, bits=True)
    assert fit.converged
    assert set(fit.unidentifiable) == {LN_K, *(f"code bit {bit}" for bit in range(8))}
    found = {p.name: p.deviation_percent for p in fit.parameters}
    common = found["code bit 7"]  # what priors cannot part moves all bits alike
    assert found["code bit 5"] - common == pytest.approx(-5.0, abs=0.2)
    assert found["code bit 6"] - common == pytest.approx(0.0, abs=0.2)
    assert abs(common) < 1.5
    assert found["pregain"] == pytest.approx(0.3, abs=0.05)
    bit = fit.parameter("code bit 5")
    assert bit.estimate == pytest.approx(32.0 * (1.0 + bit.deviation_percent / 100.0))
    assert np.std(fit.residual_percent) < 0.05


def test_the_slope_of_a_law_in_decibels(make_law) -> None:
    law = make_law(tomllib.loads((CONFIGS / "devices" / "corrie-ur-2.toml").read_text()))
    settings = channel(law)
    true = {LN_K: 0.5, "section x10": 0.2, "section x100": -0.3, "second": 0.1, "code slope": 0.4}
    fit = fit_law(law, settings, unit(law, settings, true, noise_percent=0.1, seed=6), u_percent=0.1)
    for name, percent in true.items():
        found = fit.parameter(name)
        assert abs(found.deviation_percent - percent) < 3.0 * found.u_percent
    assert fit.parameter("code slope").nominal == 0.05


def test_repeats_and_any_order(law) -> None:
    settings = channel(law)
    mixed = [*settings[::-1], *settings[:40]]
    fit = fit_law(law, mixed, unit(law, mixed), u_percent=np.full(len(mixed), 0.05))
    assert fit.settings == tuple(mixed)
    assert fit.parameter("pregain").deviation_percent == pytest.approx(0.1, abs=1e-8)


@pytest.mark.parametrize(
    ("settings", "gains", "error", "words"),
    [
        ([], [], UsageError, r"fit of channels \[\]: allowed are settings of one channel"),
        ([Setting(1, 0, 0), Setting(2, 0, 0)], [1.0, 1.0], UsageError, r"fit of channels \[1, 2\]"),
        ([Setting(1, 0, 0)], [1.0, 2.0], UsageError, "2 gains for 1 settings; allowed: one gain for each"),
        ([Setting(1, 0, 0)], [0.0], NotFinite, "a gain is no positive finite number; leave out settings"),
        ([Setting(1, 0, 0)], [math.nan], NotFinite, "a gain is no positive finite number"),
        ([Setting(1, 99, 0)], [1.0], UsageError, "coarse is 99; allowed is 0 to 10"),
    ],
)
def test_what_cannot_be_fitted(law, settings, gains, error, words: str) -> None:
    with pytest.raises(error, match=words):
        fit_law(law, settings, np.asarray(gains), u_percent=0.1)


def test_gains_of_another_law_are_no_fit(law) -> None:
    settings = channel(law)
    with pytest.raises(FitFailed, match="would change by a factor of exp"):
        fit_law(law, settings, unit(law, settings) * math.exp(30.0), u_percent=0.05)
