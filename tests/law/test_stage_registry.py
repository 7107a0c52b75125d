"""Every registered kind of stage: gain by hand, bad parameters refused, README section. A new kind needs a row."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from harness.law import KINDS
from harness.law.stages import CodeStage, StageKind

README = Path(__file__).parents[2] / "configs" / "README.md"

# kind: parameters, controls, gain by hand, relays, a bad parameter, words of its refusal
EXAMPLES: dict[str, tuple[dict[str, Any], dict[str, str | int], float, set[str], dict[str, Any], str]] = {
    "relay-attenuator": (
        {"control": "a", "ratios": {"in": 0.25, "out": 1.0}, "relays": {"in": ["K7", "K8"], "out": []}},
        {"a": "in"}, 0.25, {"K7", "K8"},
        {"relays": {"in": ["K7"]}}, "relays: got in; allowed: exactly the positions of ratios: in, out",
    ),
    "pregain-bit": ({"control": "p", "ratio": 7.0795}, {"p": 1}, 7.0795, set(), {"ratio": 0.0}, "greater than 0"),
    "linear-code": (
        {"control": "c", "bits": 7, "lowest_code": 5, "gain_per_code": 0.5},
        {"c": 100}, 50.0, set(),
        {"lowest_code": 128}, "lowest_code: got 128; allowed: 1 to 127, for bits = 7",
    ),
    "linear-in-db": (
        {"control": "c", "bits": 6, "intercept_db": -20.0, "slope_db_per_code": 0.5, "ripple_db": 0.1,
         "ripple_period_code": 8.0, "ripple_phase_deg": 90.0},
        {"c": 44}, 10.0 ** (1.9 / 20.0), set(),  # -20 + 22 dB; 5 1/2 periods and 90 degrees: sin 270 degrees, -0.1 dB
        {"ripple_period_code": None}, "ripple_period_code: got nothing; allowed: the codes after which ripple_db",
    ),
    "mdac-attenuator": (
        {"control": "c", "bits": 12, "feedback_ratio": 2.0}, {"c": 1024}, 0.5, set(),  # 2 / 4
        {"feedback_ratio": -1.0}, "greater than 0",
    ),
    "mdac-feedback": (
        {"control": "c", "bits": 8, "lowest_code": 2}, {"c": 64}, 4.0, set(),
        {"lowest_code": 0}, "greater than or equal to 1",
    ),
    "switched-gain": (
        {"control": "g", "gains": {"1": 1.0, "10": 10.0, "100": 100.0}, "feedback_ohm": 9900.0, "on_ohm": 10.0,
         "bits": 2, "words": {"1": 0, "10": 2, "100": 3}},
        {"g": "100"}, 1.0 + 9900.0 / 110.0, set(),  # 100 ohm in the ground leg, and 10 of the switch
        {"feedback_ohm": None}, "feedback_ohm: got nothing; allowed: the feedback resistor, for on_ohm = 10",
    ),
    "step-attenuator": (
        {"control": "c", "bits": 6, "step_db": 0.5, "insertion_loss_db": 2.0}, {"c": 36}, 0.1, set(),  # 2 + 18 dB
        {"highest_code": 64}, "highest_code: got 64; allowed: 1 to 63, for bits = 6",
    ),
    "loading": (
        {"source_ohm": 75.0, "load_ohm": 1000.0}, {}, 1000.0 / 1075.0, set(), {"load_ohm": -1.0}, "greater than 0",
    ),
    "table": (
        {"control": "c", "bits": 4, "first_code": 3, "gains": [8.0, 5.0, 2.0]}, {"c": 4}, 5.0, set(),
        {"gains": [8.0, 5.0, 5.0]}, "gains[2]: got 5; allowed: less than 5: the table goes one way",
    ),
    "converter-gain": (
        {"control": "r", "gains": {"full": 1.0, "half": 2.0}}, {"r": "half"}, 2.0, set(),
        {"gains": {}}, "gains: got no position; allowed: a gain for each position",
    ),
    "arithmetic": (
        {"control": "z", "ratios": {"off": 1.0, "on": 2.5}, "bits": 1, "words": {"off": 0, "on": 1}},
        {"z": "on"}, 2.5, set(),
        {"words": {"off": 1, "on": 1}}, "words: got 1, 1; allowed: each number once, 0 to 1 in 1 bits",
    ),
}  # fmt: skip

MORE_REFUSALS: list[tuple[str, dict[str, Any], str]] = [
    ("linear-code", {"bits": 25}, "bits: got 25; allowed: 1 to 24"),
    ("linear-code", {"carry_percent": {"bit_7": 1.0}}, "carry_percent.bit_7: got no bit of the code; allowed: bit_0"),
    ("linear-code", {"carry_percent": {"msb": 1.0}}, "carry_percent.msb: got no bit of the code"),
    ("mdac-feedback", {"weight_percent": {"bit_3": 60.0}}, "weight_percent.bit_3: got 60; allowed: -50 to 50"),
    ("linear-in-db", {"carry_percent": {"bit_6": 1.0}}, "carry_percent.bit_6: got no bit of the code"),
    ("linear-in-db", {"bits": 25}, "bits: got 25; allowed: 1 to 24"),
    ("linear-in-db", {"slope_db_per_code": 0.0}, "slope_db_per_code: got 0; allowed: any number but 0"),
    ("linear-in-db", {"lowest_code": 2.5}, "lowest_code: got 2.5; allowed: 0 to 63, a whole number"),
    ("linear-in-db", {"lowest_code": 50, "highest_code": 40}, "lowest_code: got 50; allowed: 0 to 40"),
    ("switched-gain", {"words": None}, "words: got bits or words alone; allowed: bits and words, or neither"),
    ("switched-gain", {"bits": 17}, "bits: got 17; allowed: 1 to 16"),
    ("switched-gain", {"words": {"1": 0}}, "words: got 1; allowed: exactly the positions of gains: 1, 10, 100"),
    ("switched-gain", {"words": {"1": 0, "10": 1, "100": 4}}, "words: got 0, 1, 4; allowed: each number once, 0 to 3"),
    ("switched-gain", {"gains": {"1": 0.5, "10": 10.0, "100": 100.0}}, "gains.1: got 0.5; allowed: 1 or more"),
    ("table", {"bits": 17}, "bits: got 17; allowed: 1 to 16"),
    ("table", {"first_code": 16}, "first_code: got 16; allowed: 0 to 15, for bits = 4"),
    ("table", {"gains": [1.0]}, "gains: got 1 gains; allowed: 2 to 13, for bits = 4"),
    ("table", {"gains": [1.0, 3.0, 2.0]}, "gains[2]: got 2; allowed: more than 3"),
]


@pytest.mark.parametrize(("kind", "bad", "words"), MORE_REFUSALS)
def test_other_parameters_that_contradict_each_other(kind: str, bad: dict[str, Any], words: str) -> None:
    assert words in refusal(kind, {**EXAMPLES[kind][0], **bad})


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_gain_and_relays(kind: str) -> None:
    parameters, controls, gain_ratio, relays, _, _ = EXAMPLES[kind]
    stage = KINDS[kind].model_validate(parameters)
    assert stage.gain_ratio(controls) == pytest.approx(gain_ratio, rel=1e-13)
    assert stage.energised(controls) == relays
    assert stage.flaws() == ()


def refusal(kind: str, parameters: dict[str, Any]) -> str:
    try:
        flaws = KINDS[kind].model_validate(parameters).flaws()
    except ValidationError as error:
        return str(error)
    return "; ".join(f"{flaw.key}: got {flaw.got}; allowed: {flaw.allowed}" for flaw in flaws)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_bad_parameter_and_an_unknown_one_are_refused(kind: str) -> None:
    parameters, _, _, _, bad, words = EXAMPLES[kind]
    assert words in refusal(kind, {**parameters, **bad})
    with pytest.raises(ValidationError, match="Extra inputs are not permitted"):
        KINDS[kind].model_validate({**parameters, "gian": 1.0})


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_needs_every_control_that_the_gain_uses_and_no_other(kind: str) -> None:
    parameters, controls, _, _, _, _ = EXAMPLES[kind]
    stage = KINDS[kind].model_validate(parameters)
    assert {control.name for control in stage.needs()} == set(controls)
    for control in stage.needs():
        assert controls[control.name] in control.values
        for value in control.values:
            assert stage.gain_ratio({**controls, control.name: value}) > 0.0
            assert control.bits is None or 0 <= control.word_number(value) < 2**control.bits


@pytest.mark.parametrize("kind", sorted(name for name, model in KINDS.items() if issubclass(model, CodeStage)))
def test_exact_code_turns_the_gain_round(kind: str) -> None:
    # a known ripple is left out on purpose: firmware does not know it
    stage = KINDS[kind].model_validate({**EXAMPLES[kind][0], **({"ripple_db": 0.0} if kind == "linear-in-db" else {})})
    assert isinstance(stage, CodeStage)
    (control,) = stage.needs()
    gains = [stage.gain_ratio({control.name: code}) for code in control.values]
    assert stage.falling == (gains[-1] < gains[0])
    for code, gain in zip(control.values, gains, strict=True):
        assert stage.exact_code(gain) == pytest.approx(code, rel=1e-12, abs=1e-9)


def states_of(stage: StageKind) -> dict[str, np.ndarray]:
    """Every value of the stage's control, as arrays."""
    return {
        control.name: np.arange(len(control.values)) if control.named else np.asarray(control.values, dtype=np.int64)
        for control in stage.needs()
    }


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_many_states_in_one_pass_are_the_same_as_one_by_one(kind: str) -> None:
    stage = KINDS[kind].model_validate(EXAMPLES[kind][0])
    many = stage.gains_ratio(states_of(stage))
    for control in stage.needs():
        singly = [stage.gain_ratio({control.name: value}) for value in control.values]
        assert np.asarray(many) == pytest.approx(singly, rel=1e-15)


MOVED: dict[str, Callable[[dict[str, Any], str, float], dict[str, Any]]] = {
    # how the parameter of a tolerance stands in the file; the others stand there by their own name
    "relay-attenuator": lambda p, name, by: {"ratios": {**p["ratios"], name: p["ratios"][name] * (1 + by)}},
    "converter-gain": lambda p, name, by: {"gains": {**p["gains"], name: p["gains"][name] * (1 + by)}},
    "table": lambda p, name, by: {"gains": [gain * (1 + by) for gain in p["gains"]]},
    "step-attenuator": lambda p, name, by: (
        {"step_db": p["step_db"] * (1 + by)} if name == "steps" else {name: p[name] + by}
    ),
}


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_sensitivities_against_finite_differences(kind: str) -> None:
    parameters = EXAMPLES[kind][0]
    stage = KINDS[kind].model_validate(parameters)
    arrays = states_of(stage)
    slopes = stage.sensitivities(arrays, {})
    assert [parameter.name for parameter in stage.parameters()] == list(slopes) or kind == "arithmetic"
    for parameter in stage.parameters():
        name, by = parameter.name, 1e-6
        if parameter.weight or parameter.independent or (kind == "switched-gain" and name != "on_ohm"):
            continue  # below: what no key of the file says
        if kind in MOVED:
            change = {sign: MOVED[kind](parameters, name, sign * by) for sign in (-1, 1)}
        elif parameter.unit == "dB":
            change = {sign: {name: parameters[name] + sign * by} for sign in (-1, 1)}
        else:
            was = getattr(stage, name)
            change = {sign: {name: was * (1 + sign * by)} for sign in (-1, 1)}
        logs = {
            sign: np.log(KINDS[kind].model_validate({**parameters, **moved}).gains_ratio(arrays))
            for sign, moved in change.items()
        }
        expected = (logs[1] - logs[-1]) / (2 * by)
        assert np.broadcast_to(slopes[name], np.shape(expected)) == pytest.approx(expected, rel=1e-6, abs=1e-9), name


@pytest.mark.parametrize("kind", ["linear-code", "mdac-attenuator", "mdac-feedback", "step-attenuator"])
def test_a_bit_off_by_a_part_moves_the_gain_by_what_its_weight_says(kind: str) -> None:
    stage = KINDS[kind].model_validate({**EXAMPLES[kind][0], "bits": 5})
    assert isinstance(stage, CodeStage)
    code = np.arange(3, 32)
    arrays = {"c": code}
    for bit in range(5):
        set_here = (code >> bit & 1) == 1
        change = stage.log_change(arrays, {f"bit_{bit}": 0.1})
        if kind == "step-attenuator":
            expected = -np.log(10.0) / 20.0 * 0.5 * 2**bit * 0.1 * set_here
        else:
            expected = (-1.0 if kind == "mdac-feedback" else 1.0) * np.log(1.0 + 0.1 * 2**bit * set_here / code)
        assert np.asarray(change) == pytest.approx(expected, abs=1e-12)
        # the derivative where the weights now are
        moved = {f"bit_{bit}": 0.1, "bit_0": -0.05}
        by = 1e-6
        above = stage.log_change(arrays, {**moved, f"bit_{bit}": moved[f"bit_{bit}"] + by})
        below = stage.log_change(arrays, {**moved, f"bit_{bit}": moved[f"bit_{bit}"] - by})
        slope = stage.sensitivities(arrays, moved)[f"bit_{bit}"]
        assert np.asarray(slope) == pytest.approx((above - below) / (2 * by), abs=1e-8)


def test_a_switch_and_its_feedback_resistor_work_against_each_other() -> None:
    # R_g = R_f/(gain - 1) follows R_f: with R_f twice as large the same switch takes half as much
    stage = KINDS["switched-gain"].model_validate(EXAMPLES["switched-gain"][0])
    slopes = stage.sensitivities({"g": np.arange(3)}, {})
    assert slopes["on_ohm"] == pytest.approx([0.0, -(9.0 / (1 + 10 / 1100)) / stage.gain_ratio({"g": "10"}) * 10 / 1110,
                                              -90.0 / 91.0 * 10.0 / 110.0])  # fmt: skip
    assert slopes["feedback_ohm"] == pytest.approx(-slopes["on_ohm"])
    assert slopes["100"] == pytest.approx([0.0, 0.0, 1.0])


def test_a_code_that_no_position_has_is_no_gain() -> None:
    stage = KINDS["switched-gain"].model_validate(EXAMPLES["switched-gain"][0])
    assert stage.gain_ratio({"g": 1}) == 0.0  # two bits, but only 0, 2 and 3 are wired
    assert stage.gain_ratio({"g": 3}) == stage.gain_ratio({"g": "100"})


def test_codes_without_a_gain() -> None:
    assert KINDS["mdac-feedback"].model_validate(EXAMPLES["mdac-feedback"][0]).gain_ratio({"c": 0}) == 0.0
    assert KINDS["table"].model_validate(EXAMPLES["table"][0]).gain_ratio({"c": 0}) == 0.0


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_readme_of_configs_explains_the_kind_and_its_keys(kind: str) -> None:
    text = README.read_text()
    assert f'kind = "{kind}"' in text
    section = text.split(f"#### `{kind}`", 1)[1].split("\n#", 1)[0]
    for key in KINDS[kind].model_fields:
        assert f"`{key}`" in section, f"{key} of {kind}"


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_registered_under_its_own_word(kind: str) -> None:
    assert KINDS[kind].kind == kind
    assert issubclass(KINDS[kind], StageKind)


def test_an_attenuator_without_known_coils_moves_no_relay() -> None:
    stage = KINDS["relay-attenuator"].model_validate({"control": "a", "ratios": {"in": 0.1}})
    assert stage.energised({"a": "in"}) == frozenset()
