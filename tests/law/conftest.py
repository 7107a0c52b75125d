"""The shipped Skerry HR-4 as data that a test may change, and laws made of it."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from harness.config import DeviceFile
from harness.errors import ConfigError, Problem
from harness.law import GainLaw, build

HR4 = Path(__file__).parents[2] / "configs" / "devices" / "skerry-hr-4.toml"
Law = Callable[[dict[str, Any]], GainLaw]
Problems = Callable[[dict[str, Any]], dict[str, Problem]]


@pytest.fixture
def hr4() -> dict[str, Any]:
    """The shipped file without its tolerances: tests of spread choose their own."""
    data = tomllib.loads(HR4.read_text())
    for stage in data["stage"]:
        stage.pop("tolerance", None)
    return data


@pytest.fixture
def make_law() -> Law:
    return lambda data: build(DeviceFile.model_validate(data), file="device.toml")


@pytest.fixture
def law(hr4: dict[str, Any], make_law: Law) -> GainLaw:
    return make_law(hr4)


@pytest.fixture
def problems_of(make_law: Law) -> Problems:
    def problems(data: dict[str, Any]) -> dict[str, Problem]:
        with pytest.raises(ConfigError) as caught:
            make_law(data)
        return {problem.key: problem for problem in caught.value.problems}

    return problems
