"""Worked examples of the GUM (JCGM 100:2008: H.1, H.2, H.3, H.5, G.4.1) and of its Supplement 1 (JCGM 101:2008, 9)."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from harness.judge.uncertainty import (
    Contribution,
    Shape,
    combined,
    coverage_interval,
    dof_of_doubt,
    draw_sum,
    effective_dof,
    fit_line,
    nested,
    observed,
    propagate,
    second_order_standard,
    standard_ratio,
    student_factor,
)

# Sources and status of each number: in the file. "published" = printed there; "calculated" = worked out again.
GUM = tomllib.loads((Path(__file__).parent / "data" / "gum-examples.toml").read_text("utf-8"))


def relative(value, tolerance):
    return pytest.approx(value, rel=tolerance)


# --- H.1, end gauge -------------------------------------------------------------------------------------------------

H1 = GUM["h1_end_gauge"]
H1_NAMES = ("l_s", "d0", "d1", "d2", "alpha_s", "delta_alpha", "delta_theta", "theta_bar", "Delta")


def h1_input(name):
    given = H1["inputs"][name]
    shape = Shape(given["shape"]) if "shape" in given else Shape.NORMAL
    u = given.get("u", given.get("half_width", 0.0)) * standard_ratio(shape)
    return given["value"], u, given["nu"]


def h1_length(x):
    l_s, d0, d1, d2, alpha_s, delta_alpha, delta_theta, theta_bar, delta = x
    theta = theta_bar + delta
    return np.array([l_s + d0 + d1 + d2 - l_s * (delta_alpha * theta + alpha_s * delta_theta)])


def h1():
    inputs = [h1_input(name) for name in H1_NAMES]
    values, standard, dof = (np.array(column, dtype=float) for column in zip(*inputs, strict=True))
    return values, standard, dof, propagate(h1_length, values, covariance=np.diag(standard**2))


def test_h1_length_uncertainty_and_degrees_of_freedom():
    _, _, dof, result = h1()
    calculated = H1["calculated"]
    assert result.values[0] == pytest.approx(calculated["l_nm"], abs=1e-6)
    assert result.standard[0] == pytest.approx(calculated["u_nm"], abs=1e-6)
    assert float(effective_dof(result.components[:, 0], dof)) == pytest.approx(calculated["nu_eff"], abs=1e-6)
    assert round(result.standard[0]) == H1["published"]["u_nm"]


def test_h1_expanded_with_degrees_of_freedom_cut_to_a_whole_number():
    _, _, dof, result = h1()
    nu = float(effective_dof(result.components[:, 0], dof))
    assert math.floor(nu) == H1["published"]["nu_eff"]
    t99 = float(student_factor(nu, probability_ratio=0.99, whole_dof=True))
    assert t99 == pytest.approx(H1["calculated"]["t99_at_nu_16"], abs=1e-6)
    # Printed 93 = 2.92 x 32 with the rounded u; unrounded 92.5.
    assert t99 * result.standard[0] == pytest.approx(92.483, abs=1e-3)
    assert t99 * H1["published"]["u_nm"] == pytest.approx(H1["published"]["U99_nm"], abs=0.5)


def test_h1_trap_the_rounded_uncertainty_gives_other_degrees_of_freedom():
    _, _, dof, result = h1()
    nu = float(effective_dof(result.components[:, 0], dof))
    assert nu * (32 / result.standard[0]) ** 4 == pytest.approx(17.47, abs=0.005)


def test_h1_difference_of_the_comparator():
    u = [h1_input(name)[1] for name in ("d0", "d1", "d2")]
    dof = [h1_input(name)[2] for name in ("d0", "d1", "d2")]
    assert float(combined(u)) == pytest.approx(H1["published"]["u_d_nm"], abs=0.05)
    assert float(effective_dof(u, dof)) == pytest.approx(H1["calculated"]["nu_d"], abs=1e-6)
    # 25.6 in print comes from u_d rounded to 9.7.
    assert float(effective_dof(u, dof)) * (9.7 / float(combined(u))) ** 4 == pytest.approx(25.6, abs=0.06)


def test_h1_second_order_terms():
    values, standard, _, result = h1()
    second = second_order_standard(h1_length, values, standard=standard)
    # H.1.7: l_s u(delta_alpha) u(theta) = 11.7 and l_s u(alpha_s) u(delta_theta) = 1.7 nm.
    theta_u = math.hypot(standard[7], standard[8])
    by_hand = values[0] * math.hypot(standard[5] * theta_u, standard[4] * standard[6])
    assert second == pytest.approx(by_hand, rel=1e-6)
    total = math.hypot(result.standard[0], second)
    assert total == pytest.approx(H1["calculated"]["u_with_second_order_nm"], abs=1e-6)
    assert round(total) == H1["published"]["u_with_second_order_nm"]


def test_h1_doubt_about_a_half_width_as_degrees_of_freedom():
    # H.1.6: 10 % of doubt about u(delta_alpha), 50 % about u(delta_theta).
    assert dof_of_doubt(0.10) == pytest.approx(H1["inputs"]["delta_alpha"]["nu"], rel=1e-12)
    assert dof_of_doubt(0.50) == pytest.approx(H1["inputs"]["delta_theta"]["nu"], rel=1e-12)


# --- H.2, resistance and reactance ----------------------------------------------------------------------------------

H2 = GUM["h2_resistance_reactance"]


def h2_model(x):
    volts, milliamps, phi = x
    ohms = 1000 * volts / milliamps
    return np.array([ohms * math.cos(phi), ohms * math.sin(phi), ohms])


def h2_observed():
    inputs = H2["inputs"]
    return observed(np.array([inputs["V_v"], inputs["I_ma"], inputs["phi_rad"]]).T)


def test_h2_means_and_their_correlation():
    seen = h2_observed()
    calculated = H2["calculated"]
    s = np.sqrt(np.diag(seen.covariance))
    assert seen.dof == 4
    assert s == relative(list(calculated["s_mean"].values()), 1e-8)
    r = seen.covariance / np.outer(s, s)
    assert [r[0, 1], r[0, 2], r[1, 2]] == relative(list(calculated["r_in"].values()), 1e-7)


def test_h2_results_with_correlated_inputs():
    seen = h2_observed()
    result = propagate(h2_model, seen.means, covariance=seen.covariance)
    calculated, published = H2["calculated"], H2["published"]
    r = result.correlation
    got = {
        **dict(zip(("R", "X", "Z"), result.values, strict=True)),
        **dict(zip(("u_R", "u_X", "u_Z"), result.standard, strict=True)),
        "r_RX": r[0, 1],
        "r_RZ": r[0, 2],
        "r_XZ": r[1, 2],
    }
    for name, value in got.items():
        assert value == relative(calculated[name], H2["tolerance"]["against_calculated_relative"]), name
        assert value == pytest.approx(published[name], abs=H2["tolerance"]["against_published"]), name


def test_h2_set_by_set():
    inputs = np.array([H2["inputs"][name] for name in ("V_v", "I_ma", "phi_rad")]).T
    seen = observed(np.array([h2_model(row) for row in inputs]))
    expected = H2["calculated_set_by_set"]
    s = np.sqrt(np.diag(seen.covariance))
    assert [*seen.means, *s] == relative([expected[n] for n in ("R", "X", "Z", "u_R", "u_X", "u_Z")], 1e-8)


def test_h2_correlation_ignored_is_far_off():
    seen = h2_observed()
    result = propagate(h2_model, seen.means, covariance=np.diag(np.diag(seen.covariance)))
    expected = H2["correlation_ignored"]["calculated"]
    assert result.standard == relative([expected[n] for n in ("u_R", "u_X", "u_Z")], 1e-6)
    r = result.correlation
    assert [r[0, 1], r[0, 2], r[1, 2]] == relative([expected[n] for n in ("r_RX", "r_RZ", "r_XZ")], 1e-6)


def test_h2_trap_rounded_inputs_give_other_results():
    published = H2["published"]
    mean, s, r = (list(published[name].values()) for name in ("mean", "s_mean", "r_in"))
    correlation = np.array([[1, r[0], r[1]], [r[0], 1, r[2]], [r[1], r[2], 1]])
    result = propagate(h2_model, np.array(mean), covariance=correlation * np.outer(s, s))
    assert result.standard[0] == pytest.approx(0.070, abs=0.0005)
    assert result.correlation[0, 2] == pytest.approx(-0.49, abs=0.005)


# --- H.3, thermometer -----------------------------------------------------------------------------------------------

H3 = GUM["h3_thermometer"]


def test_h3_line():
    line = fit_line(np.array(H3["inputs"]["t"]), np.array(H3["inputs"]["b"]), origin=H3["inputs"]["t0"])
    c = H3["calculated"]
    u = np.sqrt(np.diag(line.covariance))
    tolerance = H3["tolerance"]["relative"]
    assert line.intercept == relative(c["y1"], tolerance)
    assert line.slope == relative(c["y2"], tolerance)
    assert list(u) == relative([c["s_y1"], c["s_y2"]], tolerance)
    assert line.covariance[0, 1] / (u[0] * u[1]) == relative(c["r_y1_y2"], tolerance)
    assert line.residual == relative(c["s"], tolerance)
    assert line.dof == H3["published"]["nu"]


def test_h3_prediction_is_of_the_line_and_not_of_a_new_observation():
    line = fit_line(np.array(H3["inputs"]["t"]), np.array(H3["inputs"]["b"]), origin=H3["inputs"]["t0"])
    c = H3["calculated"]
    assert line.at(30.0) == relative(c["b_at_30"], 1e-9)
    assert line.standard_at(30.0) == relative(c["u_b_at_30"], 1e-9)
    factor = float(student_factor(line.dof, probability_ratio=0.95))
    assert factor * line.standard_at(30.0) == relative(c["U95_b_at_30"], 1e-9)
    by_propagation = propagate(
        lambda y: y[:1] + y[1:] * 10.0, np.array([line.intercept, line.slope]), covariance=line.covariance
    )
    assert by_propagation.standard[0] == relative(c["u_b_at_30"], 1e-9)


def test_h3_does_not_depend_on_where_the_intercept_is_taken():
    t, b = np.array(H3["inputs"]["t"]), np.array(H3["inputs"]["b"])
    for origin in (0.0, 24.0, 30.0):
        line = fit_line(t, b, origin=origin)
        assert line.at(30.0) == relative(H3["calculated"]["b_at_30"], 1e-9)
        assert line.standard_at(30.0) == relative(H3["calculated"]["u_b_at_30"], 1e-9)


# --- H.5, nested days -----------------------------------------------------------------------------------------------

H5 = GUM["h5_nested_days"]


def test_h5_between_and_within_days():
    inputs, c = H5["inputs"], H5["calculated"]
    means = 10.0 + 1e-6 * np.array(inputs["mean_minus_10_v_in_uv"])
    found = nested(means, deviations=1e-6 * np.array(inputs["s_uv"]), count=inputs["readings_per_day"])
    # 1e-7 relative, but the means are differences of ten-volt readings: 1e-15 V of rounding in 6e-5 V.
    tolerance = H5["tolerance"]["relative"]
    assert found.mean == pytest.approx(c["mean_v"], rel=1e-12)
    assert 1e6 * found.between_means == relative(c["s_between_means_uv"], tolerance)
    assert 1e6 * found.within == relative(c["s_within_uv"], tolerance)
    assert 1e6 * found.between_means * math.sqrt(inputs["readings_per_day"]) == relative(c["s_a_uv"], tolerance)
    assert found.f_ratio == relative(c["F"], tolerance)
    assert 1e6 * found.between == relative(c["s_B_uv"], tolerance)
    assert 1e6 * found.standard == relative(c["u_uv"], tolerance)
    assert 1e6 * found.pooled_standard == relative(c["u_pooled_uv"], tolerance)
    assert (found.dof_between, found.dof_within) == (9, 40)


def test_h5_days_differ_at_95_but_not_at_97_5_percent():
    inputs, c = H5["inputs"], H5["calculated"]
    found = nested(
        np.array(inputs["mean_minus_10_v_in_uv"], dtype=float),
        deviations=np.array(inputs["s_uv"], dtype=float),
        count=inputs["readings_per_day"],
    )
    assert found.critical_ratio(probability_ratio=0.95) == relative(c["F95_9_40"], 1e-7)
    assert found.critical_ratio(probability_ratio=0.975) == relative(c["F975_9_40"], 1e-7)
    assert c["F95_9_40"] < found.f_ratio < c["F975_9_40"]


# --- G.4.1, Welch-Satterthwaite -------------------------------------------------------------------------------------

G4 = GUM["g4_welch_satterthwaite"]


def test_g4_effective_degrees_of_freedom():
    u = G4["inputs"]["relative_u_percent"]
    dof = [n - 1 for n in G4["inputs"]["n"]]
    c = G4["calculated"]
    assert float(combined(u)) == relative(c["u_c_percent"], G4["tolerance_relative"])
    nu = float(effective_dof(u, dof))
    assert nu == relative(c["nu_eff"], G4["tolerance_relative"])
    t95 = float(student_factor(round(nu), probability_ratio=0.95))
    assert t95 == relative(c["t95_at_nu_19"], G4["tolerance_relative"])
    assert t95 * float(combined(u)) == relative(c["U95_percent"], G4["tolerance_relative"])
    assert t95 * float(combined(u)) == pytest.approx(G4["published"]["U95_percent"], abs=0.05)


# --- JCGM 101, 9.2 and 9.4 ------------------------------------------------------------------------------------------

DRAWS = 1_000_000


def unit(shape, sd=1.0):
    return Contribution(name="x", value_percent=sd / standard_ratio(shape), shape=shape)


@pytest.mark.parametrize(
    ("name", "contributions"),
    [
        ("four_normal_sd_1", [unit(Shape.NORMAL)] * 4),
        ("four_rectangular_sd_1", [unit(Shape.RECTANGULAR)] * 4),
        ("three_rectangular_sd_1_and_one_sd_10", [unit(Shape.RECTANGULAR)] * 3 + [unit(Shape.RECTANGULAR, 10.0)]),
    ],
)
def test_supplement_1_additive_models(name, contributions):
    samples = draw_sum(contributions, np.random.default_rng(101), draws=DRAWS)
    low, high = coverage_interval(samples)
    # 0.02 for a million draws; the wide one is printed to one decimal.
    tolerance = 0.06 if "10" in name else GUM["s1_additive"]["tolerance_absolute"]
    assert (high - low) / 2 == pytest.approx(GUM["s1_additive"]["published"][name], abs=tolerance)


def test_supplement_1_propagation_overstates_a_dominant_rectangle():
    u = float(combined([1.0, 1.0, 1.0, 10.0]))
    k = float(student_factor(math.inf, probability_ratio=0.95))
    assert k * u == pytest.approx(GUM["s1_additive"]["published"]["same_by_law_of_propagation"], abs=0.05)


@pytest.mark.parametrize(("name", "x1"), [("x1_0", 0.0), ("x1_0p010", 0.010), ("x1_0p050", 0.050)])
def test_supplement_1_sum_of_squares(name, x1):
    expected = GUM["s1_sum_of_squares"][name]
    linear = propagate(lambda x: np.array([x @ x]), np.array([x1, 0.0]), covariance=np.diag([0.005**2] * 2))
    assert 1e6 * linear.standard[0] == pytest.approx(expected["law_of_propagation_u"], abs=1e-6)
    rng = np.random.default_rng(94)
    samples = (x1 + 0.005 * rng.standard_normal(DRAWS)) ** 2 + (0.005 * rng.standard_normal(DRAWS)) ** 2
    # Standard error of the mean of a million draws: 0.1 % of the standard deviation; 4 of them.
    assert 1e6 * samples.mean() == pytest.approx(expected["mean"], abs=4e-3 * expected["sd"])
    assert 1e6 * samples.std() == pytest.approx(expected["sd"], rel=5e-3)
    # Second order, exact here: var = 4 x1² u² + 4 u⁴.
    second = second_order_standard(lambda x: np.array([x @ x]), np.array([x1, 0.0]), standard=np.array([0.005] * 2))
    assert 1e6 * math.hypot(linear.standard[0], second) == relative(expected["sd"], 1e-4)


def test_supplement_1_shortest_interval_touches_zero():
    rng = np.random.default_rng(95)
    samples = 1e6 * ((0.005 * rng.standard_normal(DRAWS)) ** 2 + (0.005 * rng.standard_normal(DRAWS)) ** 2)
    low, high = coverage_interval(samples, shortest=True)
    expected = GUM["s1_sum_of_squares"]["x1_0"]["shortest_95"]
    assert low == pytest.approx(expected[0], abs=0.3)
    assert high == pytest.approx(expected[1], abs=1.0)
