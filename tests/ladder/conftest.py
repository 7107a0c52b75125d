"""The Skerry HR-4 on the shipped bench, as data that a test may change, and ladders made of them."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from harness import ladder
from harness.config import BenchFile, DeviceFile
from harness.config.job_file import Ladder
from harness.law import GainLaw
from harness.law import build as build_law
from harness.values import Rung

CONFIGS = Path(__file__).parents[2] / "configs"


class Workshop:
    """Device, bench and source to build ladders with."""

    def __init__(self) -> None:
        self.device_data: dict[str, Any] = tomllib.loads((CONFIGS / "devices" / "skerry-hr-4.toml").read_text())
        self.bench_data: dict[str, Any] = tomllib.loads((CONFIGS / "benches" / "lan-and-serial.toml").read_text())
        self.source_min_vpk = 0.0005
        self.source_max_vpk = 10.0

    @property
    def device(self) -> DeviceFile:
        return DeviceFile.model_validate(self.device_data)

    @property
    def bench(self) -> BenchFile:
        return BenchFile.model_validate(self.bench_data)

    @property
    def law(self) -> GainLaw:
        return build_law(self.device, file="device.toml")

    def build(self, **wanted: Any) -> tuple[Rung, ...]:
        return self.build_from(Ladder.model_validate(wanted))

    def build_from(self, wanted: Ladder) -> tuple[Rung, ...]:
        return ladder.build(
            self.law,
            self.device,
            self.bench,
            wanted,
            source_min_vpk=self.source_min_vpk,
            source_max_vpk=self.source_max_vpk,
            file="job.toml",
        )


Make = Callable[..., tuple[Rung, ...]]


@pytest.fixture
def workshop() -> Workshop:
    return Workshop()
