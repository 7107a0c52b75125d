"""Errors that readings have in common, through the real fit: drawn sources, the reference library, bad arguments."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.errors import NotFinite, UsageError
from harness.law import fit_law
from harness.law.design import LN_K
from harness.values import Setting

OWN, RANGE, COMMON = 0.03, 0.05, 0.12
"""Standard uncertainties, percent."""
DRAWS = 300


@pytest.fixture
def few(law):
    """Every range at three fine positions, as a short ladder has them."""
    return [Setting(1, coarse, fine) for coarse in range(len(law.coarse_names)) for fine in (0, 10, 20)]


@pytest.fixture
def nominal(law, few):
    return np.array([law.predict(setting).gain_codes_per_v for setting in few])


@pytest.fixture
def ranges(nominal):
    """Which range of a source each level lies in: decades, as the level follows the gain."""
    return np.floor(np.log10(nominal / nominal.min()) + 0.3).astype(int)


def rows_of(ranges):
    return np.array([np.where(ranges == one, RANGE, 0.0) for one in np.unique(ranges)])


def fit_of(law, few, gains, ranges, **changes):
    u = math.hypot(OWN, RANGE)
    known = {"u_percent": u, "shared_percent": rows_of(ranges), "common_percent": COMMON, **changes}
    return fit_law(law, few, gains, **known)


@pytest.mark.parametrize("robust", [True, False], ids=["robust", "plain"])
def test_parameters_scatter_as_said_when_sources_are_drawn(law, few, nominal, ranges, robust):
    rng = np.random.default_rng(17)
    found, held, said = [], [], None
    for _ in range(DRAWS):
        errors = rng.normal(0.0, COMMON) + rng.normal(0.0, RANGE, ranges.max() + 1)[ranges]
        errors = errors + rng.normal(0.0, OWN, nominal.size)
        fit = fit_of(law, few, nominal * np.exp(errors / 100.0), ranges, robust=robust)
        off = np.array([p.deviation_percent for p in fit.parameters])
        u = np.array([p.u_percent for p in fit.parameters])
        found.append(off)
        held.append(np.abs(off) <= 1.96 * u)
        said = u if said is None else np.minimum(said, u)
    # Sampling leaves 1/sqrt(2·300) = 4.1 percent of a standard deviation; the scale of a fit only ever adds.
    spread = np.std(found, axis=0)
    assert np.all(said <= spread * 1.15)
    assert np.all(said >= spread * 0.85)
    # 95 percent of 300: the binomial leaves 1.3 percent.
    assert np.all(np.mean(held, axis=0) >= 0.92)


def test_no_other_fit_knows_them_better_and_one_that_ignores_ranges_says_too_much(law, few, nominal, ranges):
    rows = rows_of(ranges)
    covariance = rows.T @ rows + OWN**2 * np.eye(nominal.size) + COMMON**2
    whole = fit_of(law, few, nominal, ranges, robust=False)
    alone = fit_of(law, few, nominal, ranges, robust=False, shared_percent=None, common_percent=0.0)
    true = np.sqrt(np.diag(alone.sensitivity @ covariance @ alone.sensitivity.T))
    for best, plain, spread in zip(whole.parameters, alone.parameters, true, strict=True):
        # Gauss and Markov: generalised least squares has the least variance.
        assert best.u_percent < spread
        assert plain.u_percent < spread
    assert alone.parameter("attenuator 1:10").u_percent < 0.7 * true[1]


def test_parameters_against_the_reference_library(law, few, nominal, ranges):
    gtc = pytest.importorskip("GTC")
    fit = fit_of(law, few, nominal, ranges, robust=False)
    common = gtc.ureal(0.0, COMMON)
    shared = [gtc.ureal(0.0, RANGE) for _ in range(ranges.max() + 1)]
    logs = [common + shared[one] + gtc.ureal(0.0, OWN) for one in ranges]
    # The sensitivity by numbers: each reading moved alone, through the fit.
    step = 0.01
    at_rest = np.array([p.deviation_percent for p in fit.parameters])
    for place, parameter in enumerate(fit.parameters):
        total = 0.0
        for index in range(nominal.size):
            if place == 0:
                moved = nominal.copy()
                moved[index] *= math.exp(step / 100.0)
                again = fit_of(law, few, moved, ranges, robust=False)
                change = [(p.deviation_percent - r) / step for p, r in zip(again.parameters, at_rest, strict=True)]
                assert fit.sensitivity[:, index] == pytest.approx(change, abs=1e-9)
            total = total + float(fit.sensitivity[place, index]) * logs[index]
        assert parameter.u_percent == pytest.approx(gtc.uncertainty(total), rel=1e-9)


def test_residuals_by_their_sensitivity(law, few, nominal, ranges):
    rng = np.random.default_rng(4)
    errors = rng.normal(0.0, 0.05, nominal.size)
    fit = fit_of(law, few, nominal * np.exp(errors / 100.0), ranges, robust=False)
    whole = fit.residual_sensitivity()
    assert fit.residual_percent == pytest.approx(whole @ errors, abs=1e-9)
    assert fit.residual_sensitivity(30, 40) == pytest.approx(whole[30:], abs=1e-15)
    # What is common to all is in no residual.
    assert np.abs(whole.sum(axis=1)).max() < 1e-9


def test_what_is_common_to_all_is_in_ln_k_alone(law, few, nominal, ranges):
    with_source, without = (fit_of(law, few, nominal, ranges, common_percent=c) for c in (COMMON, 0.0))
    for one, other in zip(with_source.parameters, without.parameters, strict=True):
        more = COMMON if one.name == LN_K else 0.0
        assert one.u_percent == pytest.approx(math.hypot(other.u_percent, more), rel=1e-9)


@pytest.mark.parametrize(
    ("changes", "error", "said"),
    [
        ({"shared_percent": np.zeros(3)}, UsageError, r"shape \(3,\); allowed: \(errors, 33\)"),
        ({"shared_percent": np.full((1, 33), 0.2)}, UsageError, "all of u_percent of a setting"),
        ({"shared_percent": np.full((1, 33), -0.01)}, NotFinite, "a shared error is no finite number"),
        ({"common_percent": math.inf}, NotFinite, "a shared error is no finite number"),
    ],
)
def test_shared_errors_that_cannot_be_meant_are_refused(law, few, nominal, ranges, changes, error, said):
    with pytest.raises(error, match=said):
        fit_of(law, few, nominal, ranges, **changes)
