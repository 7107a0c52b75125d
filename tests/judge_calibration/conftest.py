"""The shipped Skerry HR-4 with tolerances that a test may choose, and readings of a device that is known exactly."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness.config import DeviceFile
from harness.judge.calibration import CalibrationPoint
from harness.law import GainLaw, build
from harness.values import Direction, Reading, ReadingStatus, Setting, Waveform

HR4 = Path(__file__).parents[2] / "configs" / "devices" / "skerry-hr-4.toml"
SAMPLES, CYCLES, RATE_HZ = 4000, 17, 500.0e3


@pytest.fixture
def hr4() -> dict[str, Any]:
    """The device file without tolerances, whatever the shipped one has."""
    data = tomllib.loads(HR4.read_text())
    for stage in data["stage"]:
        stage.pop("tolerance", None)
        stage.pop("tolerance_percent", None)
    return data


@pytest.fixture
def make_law() -> Callable[[dict[str, Any]], GainLaw]:
    return lambda data: build(DeviceFile.model_validate(data), file="device.toml")


@pytest.fixture
def device(hr4: dict[str, Any]) -> DeviceFile:
    return DeviceFile.model_validate(hr4)


@pytest.fixture
def law(hr4: dict[str, Any], make_law: Callable[[dict[str, Any]], GainLaw]) -> GainLaw:
    return make_law(hr4)


@pytest.fixture
def reading() -> Callable[..., Reading]:
    """A record of a sine of known amplitude and offset, rounded to codes, without noise."""

    def make(
        setting: Setting,
        *,
        amplitude_code: float,
        drive_vpk: float,
        offset_code: float = 0.0,
        scale_v_per_code: float = 1e-3,
        status: ReadingStatus = ReadingStatus.VALID,
        direction: Direction = Direction.UP,
    ) -> Reading:
        angle = 2.0 * np.pi * CYCLES * np.arange(SAMPLES) / SAMPLES + 0.3
        codes = np.rint(amplitude_code * np.sin(angle) + offset_code).astype(np.int16)
        return Reading(
            index=0,
            setting=setting,
            direction=direction,
            attempt=0,
            status=status,
            reason="" if status is ReadingStatus.VALID else "said so",
            drive_set_vpk=drive_vpk,
            drive_read_vpk=drive_vpk,
            frequency_hz=RATE_HZ * CYCLES / SAMPLES,
            waveform=Waveform(codes=codes, sample_rate_hz=RATE_HZ, scale_v_per_code=scale_v_per_code, sequence=1),
            capture=None,
            capture_reason="",
            read_back=(),
            messages=(),
            started_utc="2026-11-25T00:00:00Z",
            started_s=0.0,
            duration_s=0.0,
        )

    return make


@pytest.fixture
def point() -> Callable[..., CalibrationPoint]:
    """A point whose measured gain is `ratio` times the displayed one."""

    def make(channel: int, coarse: int, fine: int, *, ratio: float, **changes: Any) -> CalibrationPoint:
        fields: dict[str, Any] = {
            "setting": Setting(channel, coarse, fine),
            "label": f"ch{channel} {coarse}/{fine}",
            "measured_codes_per_v": 1000.0 * ratio,
            "displayed_v_per_code": 1e-3,
            "u_percent": 0.1,
            "own_u_percent": 0.03,
            "offset_code": 0.0,
            "u_offset_code": 0.01,
            "noise_code": 0.5,
        }
        return CalibrationPoint(**(fields | changes))

    return make
