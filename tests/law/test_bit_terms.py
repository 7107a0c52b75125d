"""Departures of single bits and positions that are known: by hand, and unknown to the firmware."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from harness.config import Corrections
from harness.law import KINDS
from harness.law.corrections import position_factor
from harness.law.stages import Control


def stage(kind: str, **parameters: object) -> object:
    own = {
        "linear-code": {"gain_per_code": 0.5}, "mdac-feedback": {}, "mdac-attenuator": {},
        "linear-in-db": {"intercept_db": 0.0, "slope_db_per_code": 0.5},
    }[kind]  # fmt: skip
    return KINDS[kind].model_validate({"control": "c", "bits": 8, **own, **parameters})


@pytest.mark.parametrize(
    ("kind", "parameters", "code", "more"),
    [
        ("linear-code", {"carry_percent": {"bit_7": 1.0}}, 128, 1.01),
        ("linear-code", {"carry_percent": {"bit_7": 1.0}}, 127, 1.0),
        ("linear-code", {"weight_percent": {"bit_7": 1.0}}, 128, 1.01),
        ("linear-code", {"weight_percent": {"bit_7": 1.0}}, 192, 193.28 / 192.0),  # 1.28 steps more
        ("mdac-attenuator", {"weight_percent": {"bit_0": -10.0}}, 5, 4.9 / 5.0),
        ("mdac-feedback", {"weight_percent": {"bit_6": 2.0}}, 64, 1.0 / 1.02),
        ("mdac-feedback", {"carry_percent": {"bit_6": 2.0, "bit_7": 3.0}}, 192, 1.02 * 1.03),
        ("linear-in-db", {"carry_percent": {"bit_4": -0.5}}, 20, 0.995),
        ("linear-in-db", {"carry_percent": {"bit_4": -0.5}}, 15, 1.0),
    ],
)
def test_gains_by_hand(kind: str, parameters: dict, code: int, more: float) -> None:
    plain, moved = stage(kind), stage(kind, **parameters)
    assert moved.gain_ratio({"c": code}) / plain.gain_ratio({"c": code}) == pytest.approx(more, rel=1e-12)
    gains = np.asarray([0.7, 3.0])
    assert moved.exact_codes(gains) == pytest.approx(plain.exact_codes(gains))


@pytest.mark.parametrize("kind", ["linear-code", "mdac-feedback"])
def test_a_fit_moves_weights_from_where_they_are_known_to_be(kind: str) -> None:
    known = stage(kind, weight_percent={"bit_7": 1.0})
    both = stage(kind, weight_percent={"bit_7": 1.5})
    codes = {"c": np.arange(0, 256)}
    moved = known.log_change(codes, {"bit_7": 0.005})
    assert moved[0] == 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        wanted = np.log(both.gains_ratio(codes) / known.gains_ratio(codes))[1:]
    assert moved[1:] == pytest.approx(wanted, abs=1e-12)
    slopes = known.sensitivities(codes, {})["bit_7"][1:]
    assert slopes == pytest.approx(known.log_change(codes, {"bit_7": 1e-7})[1:] / 1e-7, rel=1e-5, abs=1e-9)


def test_a_position_has_a_factor_of_its_own() -> None:
    control = Control(name="a", values=("in", "out"))
    corrections = Corrections(positions_percent={"out": 0.4})
    assert position_factor(corrections, control, {"a": np.asarray([0, 1, 1])}) == pytest.approx([1.0, 1.004, 1.004])
    assert position_factor(corrections, None, {}) == 1.0


def corrected(hr4: dict, percents: dict[str, float]) -> dict:
    attenuator = next(stage for stage in hr4["stage"] if stage["kind"] == "relay-attenuator")
    attenuator["corrections"] = {"positions_percent": percents}
    return hr4


def test_firmware_does_not_know_the_factor_of_a_position(law, hr4, make_law) -> None:
    moved = make_law(corrected(hr4, {"1:10": 0.4})).predictions()
    assert [p.state.word for p in moved] == [p.state.word for p in law.predictions()]
    pairs = zip(law.predictions(), moved, strict=True)
    assert {round(b.gain_codes_per_v / a.gain_codes_per_v, 9) for a, b in pairs} == {1.0, 1.004}


def test_a_factor_of_no_position_is_refused(hr4, problems_of) -> None:
    hr4["stage"][1]["corrections"] = {"positions_percent": {"1:10": 0.4}}
    found = problems_of(corrected(hr4, {"1:7": 0.4}))
    allowed = {key.split(".")[-1]: problem.allowed for key, problem in found.items()}
    assert allowed == {"1:7": "one of 1:1, 1:10, 1:100", "1:10": "none: the stage has no named positions"}


def test_a_factor_that_is_another_position_is_refused() -> None:
    with pytest.raises(ValidationError, match="positions_percent from -50 to 50"):
        Corrections(positions_percent={"1:10": 60.0})
