"""Every registered kind of stage: gain by hand, bad parameters refused, README section. A new kind needs a row."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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
    "loading": (
        {"source_ohm": 75.0, "load_ohm": 1000.0}, {}, 1000.0 / 1075.0, set(), {"load_ohm": -1.0}, "greater than 0",
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_gain_and_relays(kind: str) -> None:
    parameters, controls, gain_ratio, relays, _, _ = EXAMPLES[kind]
    stage = KINDS[kind].model_validate(parameters)
    assert stage.gain_ratio(controls) == pytest.approx(gain_ratio, rel=1e-15)
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
            assert control.bits is None or 0 <= int(value) < 2**control.bits


@pytest.mark.parametrize("kind", sorted(name for name, model in KINDS.items() if issubclass(model, CodeStage)))
def test_exact_code_turns_the_gain_round(kind: str) -> None:
    stage = KINDS[kind].model_validate(EXAMPLES[kind][0])
    assert isinstance(stage, CodeStage)
    (control,) = stage.needs()
    for code in control.values:
        assert stage.exact_code(stage.gain_ratio({control.name: code})) == pytest.approx(code, rel=1e-12)


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
