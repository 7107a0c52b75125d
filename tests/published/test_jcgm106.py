"""Conformance probability and risks: JCGM 106:2012, ILAC-G8:09/2019, Deaver 1993, NCSLI RP-19; capability, samples."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from harness.errors import NotFinite
from harness.judge.decision import (
    DECISION_RULES,
    Process,
    Request,
    conformance_probability,
    consumer_risk,
    global_risk,
    guard_factor,
    normal_process,
    share_interval,
)

# Source and status of each example: in the file ("from memory" = check the printed number before use as a limit).
DATA = Path(__file__).parent / "data"
EXAMPLES = tomllib.loads((DATA / "conformity-examples.toml").read_text("utf-8"))
STATISTICS = tomllib.loads((DATA / "statistics-examples.toml").read_text("utf-8"))


# Tolerances 1e-8 are to the calculated numbers; half a unit of the last printed digit to the printed ones.
@pytest.mark.parametrize(
    ("name", "reading", "u", "limits"),
    [
        ("zener_breakdown", "reading_v", "u_v", {"high": "upper_limit_v"}),
        ("burst_pressure", "reading_kpa", "u_kpa", {"low": "lower_limit_kpa"}),
        ("oil_viscosity", "reading", "u", {"low": "lower_limit", "high": "upper_limit"}),
    ],
)
def test_conformance_probability(name, reading, u, limits):
    example = EXAMPLES[name]
    given = example["inputs"]
    edges = {side: given[key] for side, key in limits.items()}
    p = float(conformance_probability(given[reading], standard=given[u], **edges))
    assert p == pytest.approx(example["calculated_probability"], abs=example["tolerance"])
    assert p == pytest.approx(example["published_probability"], abs=0.0051)


def test_guarded_rejection_of_a_speed():
    example = EXAMPLES["speed_limit"]
    given = example["inputs"]
    z = guard_factor(given["probability"])
    threshold = given["limit_km_h"] / (1 - z * given["relative_u"])
    assert threshold == pytest.approx(example["calculated_threshold_km_h"], abs=example["tolerance"])
    assert math.ceil(threshold) == example["published_threshold_km_h"]
    bad = consumer_risk(threshold, standard=given["relative_u"] * threshold, high=given["limit_km_h"])
    assert float(bad) == pytest.approx(given["probability"], abs=1e-12)


def gamma_process(shape, rate):
    def density(y):
        return rate**shape / math.gamma(shape) * y ** (shape - 1) * np.exp(-rate * y)

    return Process(density=density, support=(0.0, 15.0), scale=math.sqrt(shape) / rate)


def ball_bearing(limit):
    edges = (-math.inf, limit)
    return global_risk(gamma_process(4.0, 4.0), standard=0.25, limits=(-math.inf, 2.0), acceptance=edges)


def test_ball_bearing_with_a_gamma_prior():
    example = EXAMPLES["ball_bearing"]
    at_2 = ball_bearing(2.0)
    assert at_2.bad_ratio == pytest.approx(example["p_nonconforming"], abs=example["tolerance"])
    assert at_2.false_accept_ratio == pytest.approx(example["consumer_risk_at_A_2"], abs=example["tolerance"])
    assert at_2.false_reject_ratio == pytest.approx(example["producer_risk_at_A_2"], abs=example["tolerance"])
    at_1p67 = ball_bearing(1.67)
    assert at_1p67.false_accept_ratio == pytest.approx(example["consumer_risk_at_A_1p67"], abs=example["tolerance"])
    assert at_1p67.false_reject_ratio == pytest.approx(example["producer_risk_at_A_1p67"], abs=example["tolerance"])


def test_ball_bearing_acceptance_limit_for_a_risk_of_a_tenth_of_a_percent():
    from scipy.optimize import brentq

    found = brentq(lambda a: ball_bearing(a).false_accept_ratio - 0.001, 1.5, 2.0, xtol=1e-10)
    assert found == pytest.approx(EXAMPLES["ball_bearing"]["A_for_consumer_risk_0p001"], abs=1e-7)


def test_resistors_with_guard_bands():
    example = EXAMPLES["resistors"]

    def risk(guard):
        process = normal_process(mean=1500.0, deviation=0.12)
        acceptance = (1499.8 + guard, 1500.2 - guard)
        return global_risk(process, standard=0.04, limits=(1499.8, 1500.2), acceptance=acceptance)

    tolerance = example["tolerance"]
    assert risk(0.0).bad_ratio == pytest.approx(example["p_nonconforming"], abs=tolerance)
    assert risk(0.0).false_accept_ratio == pytest.approx(example["consumer_risk_at_A_T"], abs=tolerance)
    assert risk(0.0).false_reject_ratio == pytest.approx(example["producer_risk_at_A_T"], abs=tolerance)
    for guard, consumer, producer in zip(
        example["guard_band_ohm"], example["consumer_risk"], example["producer_risk"], strict=True
    ):
        assert risk(guard).false_accept_ratio == pytest.approx(consumer, abs=tolerance)
        assert risk(guard).false_reject_ratio == pytest.approx(producer, abs=tolerance)


def test_worst_case_at_the_acceptance_limit():
    # ILAC-G8:09/2019: w = r·U with U = 2u; an item read exactly at the acceptance limit, one limit near.
    example = EXAMPLES["guarded_acceptance_worst_case"]
    for share, probability in zip(example["r"], example["probability"], strict=True):
        request = Request(expanded=2.0, low=None, high=10.0, share_ratio=share)
        at_limit = 10.0 - DECISION_RULES["guard-band"](request)
        risk = float(consumer_risk(at_limit, standard=1.0, high=10.0))
        assert risk == pytest.approx(probability, abs=example["tolerance"])


def test_ratio_of_sigmas_is_not_tur():
    example = EXAMPLES["ratio_of_sigmas"]
    process = normal_process(mean=0.0, deviation=1.0)
    for ratio, edge, expected in (
        (4.0, 2.0, example["limits_2_sigma_ratio_4_no_guard"]),
        (2.0, 0.91 * 2.0, example["limits_2_sigma_ratio_2_acceptance_0p91"]),
    ):
        risk = global_risk(process, standard=1.0 / ratio, limits=(-2.0, 2.0), acceptance=(-edge, edge))
        assert risk.false_accept_ratio == pytest.approx(expected["pfa"], abs=example["tolerance"])
        assert risk.false_reject_ratio == pytest.approx(expected["pfr"], abs=example["tolerance"])
        assert risk.false_accept_ratio == pytest.approx(expected["printed_pfa"], abs=5.1e-4)
        assert risk.false_reject_ratio == pytest.approx(expected["printed_pfr"], abs=5.1e-4)


def test_in_tolerance_probability():
    from scipy.special import ndtri

    example = EXAMPLES["in_tolerance_probability"]
    for p, unconditional, conditional in zip(
        example["in_tolerance_probability"],
        example["unconditional_pfa_percent"],
        example["conditional_pfa_percent"],
        strict=True,
    ):
        edge = float(ndtri((1 + p) / 2))
        process = normal_process(mean=0.0, deviation=1.0)
        risk = global_risk(process, standard=0.25, limits=(-edge, edge), acceptance=(-edge, edge))
        assert 100 * risk.false_accept_ratio == pytest.approx(unconditional, abs=example["tolerance"])
        assert 100 * risk.bad_among_accepted_ratio == pytest.approx(conditional, abs=example["tolerance"])


def test_capability_of_measurement_is_the_tur():
    # JCGM 106:2012, C_m = (upper - lower)/(4u), from memory: with U = 2u the same number as TUR.
    u = 0.3
    assert Request(expanded=2 * u, low=-1.5, high=2.5).tur_ratio == pytest.approx(4.0 / (4 * u), rel=1e-12)


def test_reject_rate_of_a_capable_process():
    # NIST/SEMATECH e-Handbook, 6.1.6.
    example = STATISTICS["capability_reject_rate"]
    for cp, fraction in zip(example["Cp"], example["calculated_fraction"], strict=True):
        risk = global_risk(
            normal_process(mean=0.0, deviation=1 / (3 * cp)), standard=1e-3, limits=(-1.0, 1.0), acceptance=(-1.0, 1.0)
        )
        assert risk.bad_ratio == pytest.approx(fraction, rel=example["tolerance_relative"])


@pytest.mark.parametrize("confidence", [80, 90, 95])
def test_sample_without_failures(confidence):
    # n = ceil(ln(1 - confidence)/ln(reliability)): n trials without failure prove it, n - 1 do not.
    example = STATISTICS["zero_failure_sample"]
    for reliability, n in zip(example["reliability"], example[f"n_at_confidence_{confidence}"], strict=True):
        bound = {
            trials: share_interval(0, trials=trials, confidence_ratio=confidence / 100, two_sided=False)[1]
            for trials in (n - 1, n)
        }
        assert bound[n] <= 1 - reliability < bound[n - 1]


def test_one_number_is_worked_out_as_in_an_array():
    """Also to a bad edge, and to no edge at all."""
    values = np.linspace(-3.0, 3.0, 25)
    for low, high in ((-2.0, 2.0), (None, 1.5), (-0.7, None), (None, None)):
        array = conformance_probability(values, standard=0.3, low=low, high=high)
        singly = [float(conformance_probability(one, standard=0.3, low=low, high=high)) for one in values.tolist()]
        assert array.tolist() == singly
    for side in ("low", "high"):
        with pytest.raises(NotFinite, match=f"conformance probability: {side} is nan"):
            conformance_probability(0.0, standard=0.3, **{side: math.nan})
