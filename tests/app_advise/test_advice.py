"""The choice by closed forms: uncertainties, headroom, ties, and what cannot be measured."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from harness.config import DeviceFile
from harness.errors import UsageError
from harness.judge.advice import Option, advise, options_of_law, options_of_record
from harness.judge.calibration import CalibrationPoint
from harness.law import build
from harness.values import Setting

HR4 = Path(__file__).parents[2] / "configs" / "devices" / "skerry-hr-4.toml"
ASKED: dict[str, Any] = {"span_codes": 4096, "samples": 4000, "fill_high_ratio": 0.9, "limit_vpk": 30.0}


def option(coarse: int, fine: int, gain_codes_per_v: float, **changes: Any) -> Option:
    fields: dict[str, Any] = {"arithmetic_ratio": 1.0, "u_gain_percent": 0.0}
    return Option(
        setting=Setting(1, coarse, fine),
        label=f"{coarse}/{fine}",
        gain_codes_per_v=gain_codes_per_v,
        **(fields | changes),
    )


def test_the_parts_in_closed_form() -> None:
    made = option(0, 0, 1000.0, noise_code=1.5, u_gain_percent=0.3)
    best = advise([made], 0.5, **ASKED).best
    amplitude = 500.0
    noise = 100.0 * math.sqrt(2.0 * (1.5**2 + 1.0 / 12.0) / 4000.0) / amplitude
    bent = 100.0 * 0.5 / (2.0 * amplitude) / math.sqrt(3.0)
    assert best.noise_percent == pytest.approx(noise)
    assert best.nonlinearity_percent == pytest.approx(bent)
    assert best.u_percent == pytest.approx(math.sqrt(noise**2 + bent**2 + 0.3**2))
    assert best.bits_used == pytest.approx(math.log2(1000.0))
    assert best.fill_ratio == pytest.approx(500.0 / 2048.0)


def test_the_most_sensitive_setting_with_headroom_beside_the_best_coarse_one() -> None:
    options = [option(0, 0, 1000.0), option(0, 1, 1500.0), option(1, 0, 2000.0), option(1, 1, 3000.0)]
    # 0.9 · 2048 = 1843 codes: at 0.7 V peak 1500 codes/V give 1050, 2000 give 1400, 3000 give 2100
    advice = advise(options, 0.7, **ASKED)
    assert advice.best.setting == Setting(1, 1, 0)
    assert advice.coarse_only == advice.best
    # at 0.6 V peak 3000 codes/V still fit
    advice = advise(options, 0.6, **ASKED)
    assert (advice.best.setting, advice.coarse_only and advice.coarse_only.setting) == (
        Setting(1, 1, 1),
        Setting(1, 1, 0),
    )
    assert advice.best.bits_used - advice.coarse_only.bits_used == pytest.approx(math.log2(1.5))  # type: ignore[union-attr]


def test_an_uncertain_gain_outweighs_resolution() -> None:
    sharp = option(0, 0, 1000.0, u_gain_percent=0.1)
    fine = option(0, 5, 3000.0, u_gain_percent=0.5)
    assert advise([sharp, fine], 0.5, **ASKED).best.setting == sharp.setting


def test_an_offset_takes_its_part_of_the_headroom() -> None:
    low, high = option(0, 0, 1000.0), option(0, 1, 3000.0, offset_code=-60.0)
    assert advise([low, high], 0.594, **ASKED).best.setting == high.setting  # 1782 + 60 = 1842 of 1843.2 codes
    assert advise([low, high], 0.595, **ASKED).best.setting == low.setting


def test_arithmetic_adds_no_bits_and_loses_a_tie() -> None:
    hardware = option(3, 4, 2000.0)
    doubled = option(4, 0, 4000.0, arithmetic_ratio=2.0)
    for options in ([hardware, doubled], [doubled, hardware]):
        advice = advise(options, 0.4, **ASKED)
        assert advice.best.setting == hardware.setting
        assert advice.coarse_only is not None
        assert advice.coarse_only.bits_used == pytest.approx(advice.best.bits_used)


def test_no_first_fine_position_no_coarse_choice() -> None:
    assert advise([option(0, 3, 1000.0)], 0.5, **ASKED).coarse_only is None


@pytest.mark.parametrize(
    ("amplitude_vpk", "words"),
    [
        (31.0, r"31 V peak is above the input limit of 30 V peak: put a pad in front"),
        (2.0, r"2 V peak is above every full scale: the least sensitive setting, 0/0, takes 1\.843 V peak at a fill"),
        (1e-4, r"0\.0001 V peak spans 0\.6 code at the most sensitive setting, 0/1; .* from 0\.000167 V peak"),
        (0.0, "amplitude 0.0 V peak; allowed: a positive finite number"),
        (-1.0, "allowed: a positive finite number"),
        (math.nan, "allowed: a positive finite number"),
        (math.inf, "allowed: a positive finite number"),
    ],
)
def test_what_cannot_be_measured(amplitude_vpk: float, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        advise([option(0, 0, 1000.0), option(0, 1, 3000.0)], amplitude_vpk, **ASKED)


def test_options_of_the_law() -> None:
    data = tomllib.loads(HR4.read_text())
    for stage in data["stage"]:
        stage["tolerance"] = {}
    data["stage"][2]["tolerance"] = {"gain_per_code": 0.6}
    device = DeviceFile.model_validate(data)
    law = build(device, file="device.toml")
    options = options_of_law(law, device, channel=2)
    assert len(options) == 11 * 21
    assert {item.setting.channel for item in options} == {2}
    assert options[0].u_gain_percent == pytest.approx(0.6 / math.sqrt(3.0))
    by_place = {(item.setting.coarse, item.setting.fine): item for item in options}
    # 1.5 code steps at 20 mV 40 % move with the gain; the arithmetic range has the steps of the 20 mV range
    assert by_place[9, 20].noise_code == pytest.approx(1.5)
    assert by_place[9, 0].noise_code == pytest.approx(1.5 * 0.4, rel=0.01)
    assert by_place[10, 20].noise_code == pytest.approx(1.5)
    assert by_place[10, 20].arithmetic_ratio == 2.0
    quiet = device.model_copy(update={"quiet_noise": None})
    assert {item.noise_code for item in options_of_law(law, quiet, channel=1)} == {0.0}
    with pytest.raises(UsageError, match="channel is 9; allowed is 1 to 4"):
        options_of_law(law, device, channel=9)


def test_options_of_a_record() -> None:
    device = DeviceFile.model_validate(tomllib.loads(HR4.read_text()))
    law = build(device, file="device.toml")
    point = CalibrationPoint(
        setting=Setting(1, 10, 0),
        label="ch1 10mV 100 %",
        measured_codes_per_v=400_000.0,
        displayed_v_per_code=2.5e-6,
        u_percent=0.15,
        own_u_percent=0.02,
        offset_code=-7.0,
        u_offset_code=0.1,
        noise_code=2.0,
    )
    (found,) = options_of_record([point], law, channel=1)
    assert (found.arithmetic_ratio, found.offset_code, found.u_gain_percent) == (2.0, -7.0, 0.15)
    assert found.noise_code == pytest.approx(math.sqrt(1.0 - 1.0 / 12.0))
    assert found.steps_peak(0.001) == pytest.approx(200.0)
    with pytest.raises(UsageError, match="measured no setting of channel 3; choose another with --channel"):
        options_of_record([point], law, channel=3)
