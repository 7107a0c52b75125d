"""Records to write, and a clock that stands where it is put."""

from __future__ import annotations

import dataclasses
import hashlib
import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness.values import (
    Capture,
    ConfigFile,
    Direction,
    Identity,
    Purpose,
    Reading,
    ReadingStatus,
    RunHeader,
    Setting,
    Waveform,
)

_NUMBERS = itertools.count()


class StandingClock:
    """Moves a second at each look."""

    def __init__(self) -> None:
        self.at_s = 100.0

    def now_s(self) -> float:
        self.at_s += 1.0
        return self.at_s

    def utc(self) -> str:
        return f"2026-11-25T10:00:{int(self.at_s) % 60:02d}.000000Z"

    def sleep(self, seconds: float) -> None:
        self.at_s += seconds


def config_file(role: str, text: str, path: str = "") -> ConfigFile:
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    return ConfigFile(role=role, path=path or f"configs/{role}.toml", version=3, sha256=sha256, text=text)


def header(run_id: str = "20261125T100000Z-aaaa", **changes: Any) -> RunHeader:
    made = RunHeader(
        run_id=run_id,
        unit="A1",
        operator="müller",
        started_utc="2026-11-25T10:00:00.000000Z",
        mode="simulated",
        seed=7,
        faults=("latch-missing:2", "pregain-ratio-wrong=0.02"),
        planned=1848,
        identities=(
            ("source", Identity(manufacturer="Machair", model="SG-1", serial="0042", firmware="1.0")),
            ("device", Identity(manufacturer="Skerry", model="HR-4", serial="A1", firmware="2.3, b")),
        ),
        files=(config_file("job", "kind = 'job'\n"), config_file("device", "kind = 'device' # Ω\n")),
        software="0.1.0",
    )
    return dataclasses.replace(made, **changes)


def reading(index: int = 0, samples: int = 400, **changes: Any) -> Reading:
    generator = np.random.default_rng(index)
    made = Reading(
        index=index,
        setting=Setting(2, 3, 4),
        direction=Direction.DOWN,
        attempt=1,
        status=ReadingStatus.RELEVELLED,
        reason="clipped: 3 samples at a rail",
        drive_set_vpk=0.1,
        drive_read_vpk=0.1 + 1e-17 * index,
        frequency_hz=997.0000000000001,
        waveform=Waveform(
            codes=generator.integers(-2048, 2048, samples).astype(np.int16),
            sample_rate_hz=1e6 / 3.0,
            scale_v_per_code=20.0 / 4096.0 / 3.0,
            sequence=index + 17,
            mode="average",
        ),
        capture=Capture(
            times_ns=np.cumsum(generator.integers(0, 900, 60)).astype(np.int64),
            levels=generator.integers(0, 128, 60).astype(np.uint8),
            initial=5,
            lines=("data", "clock", "latch-1"),
            dropped=2,
            unknown=generator.integers(0, 4, 60).astype(np.uint8),
        ),
        capture_reason="dropped 2 events",
        read_back=(("coarse", "3"), ("fine", "4"), ("load", "50 Ω")),
        messages=('source: -222, "Data out of range"',),
        started_utc="2026-11-25T10:00:01.000000Z",
        started_s=12.000000000000002,
        duration_s=1e-9 / 3.0,
        purpose=Purpose.CROSSTALK,
        aggressor_vpk=3.0000000000000004,
        aggressor_hz=2875.0 / 3.0,
        meter_vpk=2.0 / 3.0,
        steady_v=(-2.0 / 3.0, 1e-300, 0.1),
    )
    return dataclasses.replace(made, **changes)


def same(left: Any, right: Any) -> bool:
    """Field by field, arrays by type and value."""
    if dataclasses.is_dataclass(left) and not isinstance(left, type):
        names = [field.name for field in dataclasses.fields(left)]
        return type(left) is type(right) and all(same(getattr(left, name), getattr(right, name)) for name in names)
    if isinstance(left, np.ndarray):
        return left.dtype == right.dtype and bool(np.array_equal(left, right))
    return type(left) is type(right) and bool(left == right)


@pytest.fixture
def clock() -> StandingClock:
    return StandingClock()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "runs.db"


@pytest.fixture(params=["file", "server"])
def url(request: pytest.FixtureRequest, path: Path) -> str:
    """The address of an empty store: a file, and a database on a server; the same tests hold for both."""
    if request.param == "file":
        return str(path)
    server = request.getfixturevalue("postgres_server")
    schema = f"test_{next(_NUMBERS)}"
    server.sql(f"CREATE SCHEMA {schema}")
    address: str = server.url(schema)
    return address


@pytest.fixture
def make_header() -> Callable[..., RunHeader]:
    return header


@pytest.fixture
def make_reading() -> Callable[..., Reading]:
    return reading


@pytest.fixture
def make_file() -> Callable[..., ConfigFile]:
    return config_file


@pytest.fixture
def is_same() -> Callable[[Any, Any], bool]:
    return same
