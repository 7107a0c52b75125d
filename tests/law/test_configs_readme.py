"""configs/README.md against the models: every key is explained, every example is TOML that its model takes."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from harness.config import (
    BenchFile,
    DeviceFile,
    InstrumentFile,
    JobFile,
    LadderFile,
    LimitsFile,
    LineFile,
    PeopleFile,
    SettingsFile,
    Stage,
)
from harness.config.instrument_file import COMMON, VERBS
from harness.config.model import Change
from harness.judge import ITEMS
from harness.law import KINDS
from harness.law.firmware import RULES
from harness.simulated.build import DEVICES
from harness.simulated.parameters import SimulationTruth

README = Path(__file__).parents[2] / "configs" / "README.md"
TEXT = README.read_text()
SECTIONS = {
    title: TEXT.split(f"\n## {title}\n", 1)[1].split("\n## ", 1)[0]
    for title in (
        *("Head of every file", "Devices", "Benches", "Instruments", "Limits", "Jobs", "Lines", "Ladders", "People"),
        "Settings",
    )
}
MODELS: list[tuple[str, type[BaseModel]]] = [
    ("Head of every file", Change),
    ("Devices", DeviceFile),
    ("Benches", BenchFile),
    ("Benches", SimulationTruth),
    *(("Benches", unit) for unit in DEVICES.values()),
    ("Instruments", InstrumentFile),
    ("Limits", LimitsFile),
    ("Jobs", JobFile),
    ("Lines", LineFile),
    ("Ladders", LadderFile),
    ("People", PeopleFile),
    ("Settings", SettingsFile),
]
EXAMPLES = re.findall(r"```toml\n(.*?)```", TEXT, flags=re.DOTALL)


def tables(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in getattr(annotation, "__args__", ()):
        yield from tables(argument)


def keys(model: type[BaseModel]) -> Iterator[str]:
    for name, field in model.model_fields.items():
        yield name
        for table in tables(field.annotation):
            yield from keys(table)


def names_in(text: str) -> set[str]:
    """Words in backticks, each also by the last part of its key path."""
    quoted = re.findall(r"`+\[*([a-z0-9_.]+)\]*`+", text)
    return {part for name in quoted for part in name.split(".")}


@pytest.mark.parametrize(("title", "model"), MODELS, ids=[model.__name__ for _, model in MODELS])
def test_every_key_is_explained(title: str, model: type[BaseModel]) -> None:
    explained = names_in(SECTIONS[title]) | names_in(SECTIONS["Head of every file"])
    if title == "Settings":  # the tables that it shares are explained where a device file has them
        explained |= names_in(SECTIONS["Devices"])
    assert sorted(set(keys(model)) - explained) == []


def test_every_verb_has_a_row() -> None:
    for role, verbs in VERBS.items():
        for verb in verbs:
            assert re.search(rf"^\| `{verb}` \| {role} \|", SECTIONS["Instruments"], flags=re.MULTILINE), (role, verb)
    for verb in COMMON:
        assert f"| `{verb}` | all |" in SECTIONS["Instruments"]


def test_every_limit_item_and_firmware_rule_is_explained() -> None:
    for item, unit in ITEMS.items():
        assert f"| `{item}` | {unit or 'none'} |" in SECTIONS["Limits"]
    for rule in RULES:
        assert f"`{rule}`:" in SECTIONS["Devices"]


def test_no_kind_is_explained_that_does_not_exist() -> None:
    assert set(re.findall(r"^#### `([a-z0-9-]+)`$", TEXT, flags=re.MULTILINE)) == set(KINDS)


@pytest.mark.parametrize("example", EXAMPLES, ids=[text.splitlines()[0] for text in EXAMPLES])
def test_every_example_is_toml(example: str) -> None:
    assert tomllib.loads(example)


def test_every_example_of_a_stage_is_taken_by_its_kind() -> None:
    stages = [stage for text in EXAMPLES for stage in tomllib.loads(text).get("stage", ())]
    assert {stage["kind"] for stage in stages} == set(KINDS)
    for stage in stages:
        assert KINDS[stage["kind"]].model_validate(Stage.model_validate(stage).parameters)
