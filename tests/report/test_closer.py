"""Single records and the time of a run: chosen, worked out from the samples, drawn, read back."""

from __future__ import annotations

import dataclasses
import re
from types import SimpleNamespace

import numpy as np
import pytest

from harness import report
from harness.config import Acquisition
from harness.judge.closer import BUCKETS, WINDOW, code_counts, record_residual, suspicious_setting, worst_measured
from harness.report.figures import codes_svg, courses_svg, residual_record_svg
from harness.values import (
    Course,
    Direction,
    Outcome,
    Reading,
    ReadingStatus,
    Realness,
    RunDetail,
    Setting,
    Waveform,
)

RATE, CYCLES, SAMPLES = 500e3, 17, 4000
HZ = RATE * CYCLES / SAMPLES
ACQUISITION = Acquisition(sample_rate_hz=RATE, samples=SAMPLES, cycles=CYCLES)


def reading(codes: np.ndarray | None, hz: float = HZ) -> Reading:
    wave = None
    if codes is not None:
        wave = Waveform(codes=codes.astype(np.int16), sample_rate_hz=RATE, scale_v_per_code=1e-3, sequence=1)
    return Reading(
        index=0, setting=Setting(1, 0, 0), direction=Direction.UP, attempt=0, status=ReadingStatus.VALID, reason="",
        drive_set_vpk=1.0, drive_read_vpk=1.0, frequency_hz=hz, waveform=wave, capture=None, capture_reason="",
        read_back=(), messages=(), started_utc="2026-11-25T10:00:00Z", started_s=0.0, duration_s=0.1,
    )  # fmt: skip


def sine(amplitude: float, third: float = 0.0) -> np.ndarray:
    angle = 2.0 * np.pi * CYCLES * np.arange(SAMPLES) / SAMPLES + 0.3
    noise = np.random.default_rng(5).normal(0.0, 0.4, SAMPLES)
    return np.rint(amplitude * np.sin(angle) + third * np.sin(3.0 * angle) + noise)


def test_the_settings_worth_a_look(made: SimpleNamespace) -> None:
    """Undeclared arithmetic before declared; what fails before what is merely large."""
    declared = suspicious_setting(made.small)
    assert declared is not None
    assert declared.setting.coarse == 10
    rows = list(made.small.settings)
    rows[30] = dataclasses.replace(rows[30], realness=Realness.MIXED, arithmetic_ratio=1.5)
    rows[40] = dataclasses.replace(rows[40], outcome=Outcome.FAIL, residual_percent=0.001)
    changed = dataclasses.replace(made.small, settings=tuple(rows))
    assert suspicious_setting(changed) == rows[30]
    assert worst_measured(changed) == rows[40]
    assert suspicious_setting(made.empty) is None
    assert worst_measured(made.empty) is None


def test_doubled_codes_leave_the_predicted_ones_empty(made: SimpleNamespace) -> None:
    row = dataclasses.replace(made.small.settings[0], realness=Realness.ARITHMETIC, arithmetic_ratio=2.0)
    found = code_counts(reading(2.0 * sine(700.0)), row)
    assert found is not None
    odd = [code % 2 == 1 for code in range(found.first, found.first + WINDOW)]
    assert list(found.empty) == odd
    assert sum(count for count, empty in zip(found.counts, found.empty, strict=True) if empty) == 0
    hardware = code_counts(reading(sine(1400.0)), row)
    assert hardware is not None
    assert sum(count for count, empty in zip(hardware.counts, hardware.empty, strict=True) if empty) > 5
    assert code_counts(reading(None), row) is None
    assert code_counts(reading(sine(5.0)), row) is None
    svg = codes_svg(found)
    assert svg.count('stroke="#2f5d8a"') == sum(count > 0 for count in found.counts)
    assert len(re.findall(r"h\.1", svg)) == WINDOW // 2
    assert codes_svg(None) == ""


def test_the_residual_of_a_record_shows_its_third_harmonic(made: SimpleNamespace) -> None:
    """3 codes of 1500: 54.0 dB below the signal, at three times its frequency; every other line is far below."""
    found = record_residual(reading(sine(1500.0, third=3.0)), made.small.settings[0], ACQUISITION)
    assert found is not None
    hertz, level = max(found.spectrum, key=lambda line: line[1])
    assert hertz == pytest.approx(3.0 * HZ, abs=RATE / SAMPLES)
    assert level == pytest.approx(20.0 * np.log10(3.0 / 1500.0), abs=0.2)
    assert sorted(other for _, other in found.spectrum)[-2] < level - 20.0
    assert len(found.envelope) == BUCKETS
    # At a quarter of a cycle the third harmonic stands against the signal: 3 codes below it.
    assert np.mean([(low + high) / 2 for phase, low, high in found.envelope if abs(phase - 0.25) < 0.01]) < -2.0
    wave, spectrum = residual_record_svg(found)
    assert "none" not in re.findall(r">([^<]*)</text>", spectrum)
    assert wave.count("h.1") == 2 * BUCKETS
    for bad in (reading(None), reading(np.zeros(SAMPLES)), reading(sine(9.0)[:2])):
        assert record_residual(bad, made.small.settings[0], ACQUISITION) is None
    assert residual_record_svg(None) == ()


@pytest.mark.parametrize("said_hz", [HZ * (1.0 + 2e-3), 0.0])
def test_a_frequency_that_was_read_wrong_or_not_at_all_leaves_no_sine(made: SimpleNamespace, said_hz: float) -> None:
    """As judged: the fit takes the frequency along. At the wrong one 1 % of the amplitude and more would be left."""
    found = record_residual(reading(sine(1500.0), hz=said_hz), made.small.settings[0], ACQUISITION)
    assert found is not None
    assert max(level for _, level in found.spectrum) < -70.0
    # Noise of 0.4 codes, five of its deviations.
    assert max(max(-low, high) for _, low, high in found.envelope) < 2.5


def test_courses_are_drawn_over_one_time_and_small_ones_stay_small(made: SimpleNamespace) -> None:
    anchor = Course(name="ch1 2V 70 %", unit="%", points=((1.0, 0.0), (5.0, 0.002), (10.0, -0.001)))
    warm = Course(name="probe_c", unit="°C", points=((0.0, 23.0), (10.0, 27.0)))
    single = Course(name="supply_v", unit="V", points=((0.0, 12.0),))
    first, second = courses_svg((anchor, warm, single))
    assert "minutes since the run began" in first
    assert "temperature at the unit" in second
    heights = [float(y) for y in re.findall(r"M\S+ (\S+)h\.1", first)]
    # 0.003 % of a span of 0.026 % on 80 units of height.
    assert max(heights) - min(heights) == pytest.approx(80.0 * 0.003 / 0.026, abs=0.2)
    assert courses_svg(()) == ()
    detail = RunDetail(courses=(anchor,))
    assert "Did anything drift?" in report.html(made.header(), made.small, (), detail)
    assert "Did anything drift?" not in report.html(made.header(), made.small, ())
