"""Kept records of scaled volts: codes, gain and noise come back; what shows no codes says so."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from harness.config import SettingsFile
from harness.errors import UsageError
from harness.learn import gather_records, read_gains
from harness.learn.volt_records import measured, volts_of, with_gains, with_spacings
from harness.values import Setting
from tests.learn.random_bench import CYCLES, SAMPLES
from tests.learn.test_records import settings

STEP_V = 3.17e-3
NOISE_CODE = 0.8


def volts(amplitude_code: float = 1200.0, *, off_hz: float = 0.0, seed: int = 4) -> np.ndarray:
    rng = np.random.default_rng(seed)
    angle = 2.0 * np.pi * (CYCLES + off_hz) * np.arange(SAMPLES) / SAMPLES + 0.4
    return np.rint(amplitude_code * np.sin(angle) + rng.normal(0.0, NOISE_CODE, SAMPLES)) * STEP_V


@pytest.fixture
def known() -> SettingsFile:
    return settings()


def test_gain_and_noise_come_back_in_codes(known: SettingsFile) -> None:
    found = measured(volts(), input_vpk=0.6, settings=known)
    assert found.gain_codes_per_v == pytest.approx(1200.0 / 0.6, rel=1e-4)
    assert found.step_v == pytest.approx(STEP_V, rel=1e-6)
    assert found.noise_code == pytest.approx(math.hypot(NOISE_CODE, 1.0 / math.sqrt(12.0)), rel=0.05)
    assert found.why == ""


def test_a_frequency_a_little_off_costs_no_gain(known: SettingsFile) -> None:
    assert measured(volts(off_hz=0.2), input_vpk=0.6, settings=known).gain_codes_per_v == pytest.approx(2e3, rel=2e-4)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        (volts() + np.random.default_rng(2).normal(0.0, 1.0, SAMPLES), "its volts show no codes: .*no common spacing"),
        (np.zeros(SAMPLES), "only 1 different values"),
        (volts(5000.0), "makes codes -500[0-9] to 500[0-9]; the converter has -2048 to 2047"),
        (np.clip(volts(2500.0), -2048 * STEP_V, 2047 * STEP_V), "rail"),
        (volts(20.0), "fill"),
        (volts(off_hz=9.0), "sine fit"),
    ],
)
def test_what_shows_no_gain_says_why(known: SettingsFile, values: np.ndarray, says: str) -> None:
    found = measured(values, input_vpk=0.6, settings=known)
    assert found.gain_codes_per_v is None
    assert re.search(says, found.why), found.why


def test_lines_take_the_gains_of_their_records_and_ranges_their_spacing(known: SettingsFile) -> None:
    text = "channel,coarse,fine,input_vpk,record\n1,0,0,0.6,a.txt\n1,1,0,0.06,b.txt\n1,1,1,,\n"
    recorded = read_gains(text, settings=known, file="kept.csv")
    found = {
        Setting(1, 0, 0): measured(volts(), input_vpk=0.6, settings=known),
        Setting(1, 1, 0): measured(np.zeros(9), input_vpk=0.06, settings=known),
    }
    filled = with_gains(recorded, found)
    assert filled[0].gain_codes_per_v == pytest.approx(2e3, rel=1e-4)
    gathered = with_spacings(gather_records(filled)[0], found)
    assert gathered.spacings_v == {0: pytest.approx(STEP_V, rel=1e-6)}
    assert gathered.noise_code == pytest.approx(0.85, abs=0.1)
    assert dict(gathered.unread)[Setting(1, 1, 0)].startswith("its volts show no codes: only 1 different")
    assert dict(gathered.unread)[Setting(1, 1, 1)] == "no gain in its line"


@pytest.mark.parametrize(
    ("head", "line", "says"),
    [
        ("input_vpk", "0.6", "got columns input_vpk; allowed are input_vpk and record, both"),
        ("input_vpk,record,gain", "0.6,a.txt,5", "got columns input_vpk, record, gain; allowed are"),
        ("input_vpk,record", ",a.txt", "got ''; allowed is a number above 0, V peak at the device's input, where"),
        ("input_vpk,record", "-1,a.txt", "got '-1'; allowed is a number above 0, V peak"),
    ],
)
def test_columns_that_do_not_go_together_are_told(known: SettingsFile, head: str, line: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        read_gains(f"channel,coarse,fine,{head}\n1,0,0,{line}\n", settings=known, file="kept.csv")


@pytest.mark.parametrize("bad", ["five", "nan", "1,2"])
def test_a_line_of_a_record_that_is_no_number_is_named(bad: str) -> None:
    assert volts_of("# kept\n1.5\n\n-2\n", file="a.txt").tolist() == [1.5, -2.0]
    with pytest.raises(UsageError, match=rf"a\.txt: line 2: got '{bad}'; allowed is one finite number, V"):
        volts_of(f"1.5\n{bad}\n", file="a.txt")
