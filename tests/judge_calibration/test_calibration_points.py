"""From records of known sines to points: the ratio, the offset and their uncertainties are known in closed form."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from harness.errors import UsageError
from harness.judge.calibration import measured_points, range_constants
from harness.judge.measured import measure
from harness.values import Direction, Kept, ReadingStatus, Setting

AT = Setting(1, 3, 0)


def test_a_known_sine_gives_the_ratio_of_measured_to_displayed_gain(law: Any, device: Any, reading: Any) -> None:
    # 1500 codes of 0.75 V at the source, of which 0.8 arrives: 2500 codes a volt; displayed are 2000.
    made = reading(AT, amplitude_code=1500.0, drive_vpk=0.75, offset_code=3.0, scale_v_per_code=1.0 / 2000.0)
    (point,) = measured_points([made], law=law, device=device, input_ratio=0.8)
    assert point.measured_codes_per_v == pytest.approx(2500.0, rel=1e-5)  # rounding of 4000 samples: 7e-6
    assert point.gain_ratio == pytest.approx(1.25, rel=1e-5)
    assert point.offset_code == pytest.approx(3.0, abs=0.02)
    assert point.label == "ch1 2V 100 %"


def test_up_and_down_are_averaged_and_their_scatter_counts(law: Any, device: Any, reading: Any) -> None:
    up = reading(AT, amplitude_code=1515.0, drive_vpk=1.0, offset_code=1.0)
    down = reading(AT, amplitude_code=1500.0 / 1.01, drive_vpk=1.0, offset_code=5.0, direction=Direction.DOWN)
    (point,) = measured_points([up, down], law=law, device=device, input_ratio=1.0)
    assert point.measured_codes_per_v == pytest.approx(1500.0, rel=5e-5)  # geometric mean
    assert point.offset_code == pytest.approx(3.0, abs=0.02)
    # two offsets 2 above and below their mean: s = 2·√2, s/√2 = 2
    assert point.u_offset_code == pytest.approx(2.0, abs=0.02)
    # up to down 2·ln(1.01) percent: half of it over √2
    assert point.own_u_percent == pytest.approx(100.0 * math.log(1.01) / math.sqrt(2.0), rel=0.01)


def test_a_budget_replaces_the_scatter_but_not_the_own_part(law: Any, device: Any, reading: Any) -> None:
    made = reading(AT, amplitude_code=1500.0, drive_vpk=1.0)
    (plain,) = measured_points([made], law=law, device=device, input_ratio=1.0)
    (known,) = measured_points([made], law=law, device=device, input_ratio=1.0, known_u_percent={AT: 0.2})
    assert (known.u_percent, known.own_u_percent) == (0.2, plain.own_u_percent)
    assert plain.u_percent == plain.own_u_percent
    # noise of rounding alone: √(1/12)/√4000
    assert plain.u_offset_code == pytest.approx(math.sqrt(1.0 / 12.0 / 4000.0), rel=0.05)


def test_superseded_and_invalid_readings_do_not_count(law: Any, device: Any, reading: Any) -> None:
    good = reading(AT, amplitude_code=1500.0, drive_vpk=1.0)
    others = [
        reading(AT, amplitude_code=900.0, drive_vpk=1.0, status=status)
        for status in (ReadingStatus.RELEVELLED, ReadingStatus.RETRIED, ReadingStatus.INVALID)
    ]
    (point,) = measured_points([*others, good], law=law, device=device, input_ratio=1.0)
    assert point.measured_codes_per_v == pytest.approx(1500.0, rel=1e-5)


def test_records_that_are_averaged_count_together(law: Any, device: Any, reading: Any) -> None:
    early, late = (
        reading(AT, amplitude_code=code, drive_vpk=1.0, offset_code=offset, status=ReadingStatus.AVERAGED)
        for code, offset in ((1470.0, 1.0), (1500.0, 2.0))
    )
    failed = reading(AT, amplitude_code=900.0, drive_vpk=1.0, status=ReadingStatus.RETRIED)
    last = replace(reading(AT, amplitude_code=1530.0, drive_vpk=1.0, offset_code=3.0), records=3)
    (point,) = measured_points([early, late, last], law=law, device=device, input_ratio=1.0)
    assert point.measured_codes_per_v == pytest.approx((1470.0 * 1500.0 * 1530.0) ** (1.0 / 3.0), rel=5e-5)
    assert point.offset_code == pytest.approx(2.0, abs=0.02)
    # Three times the samples: the rounding noise of one record over √3.
    (alone,) = measured_points([replace(last, records=1)], law=law, device=device, input_ratio=1.0)
    assert point.u_offset_code == pytest.approx(alone.u_offset_code / math.sqrt(3.0), rel=0.05)
    # What was taken before a failure does not count.
    (again,) = measured_points([early, failed, late, last], law=law, device=device, input_ratio=1.0)
    assert again.measured_codes_per_v == pytest.approx(math.sqrt(1500.0 * 1530.0), rel=5e-5)


def test_a_record_that_was_read_twice_counts_once(law: Any, device: Any, reading: Any) -> None:
    first = reading(AT, amplitude_code=1500.0, drive_vpk=1.0)
    stale = reading(AT, amplitude_code=1500.0, drive_vpk=1.01, direction=Direction.DOWN)
    (point,) = measured_points([first, stale], law=law, device=device, input_ratio=1.0)
    assert point.measured_codes_per_v == pytest.approx(1500.0, rel=1e-5)


def test_what_was_kept_of_dropped_raw_data_calibrates_alike(law: Any, device: Any, reading: Any) -> None:
    made = reading(AT, amplitude_code=1500.0, drive_vpk=0.75, offset_code=3.0, scale_v_per_code=1.0 / 2000.0)
    said = measure(made, device=device, bus=None, latches=(), input_ratio=1.0)
    kept = Kept(
        rule="none", at_utc="2026-11-30T00:00:00Z", outcome="PASS", limits_sha256="", reason="", fit=said.fit,
        quality=said.quality, words=(), scale_v_per_code=said.scale_v_per_code,
    )  # fmt: skip
    dropped = replace(made, waveform=None, kept=kept)
    expected = measured_points([made], law=law, device=device, input_ratio=1.0)
    assert measured_points([dropped], law=law, device=device, input_ratio=1.0) == expected
    (point,) = expected
    assert point.gain_ratio == pytest.approx(1.0, rel=1e-5)


def test_a_scale_that_changes_within_a_run_is_refused(law: Any, device: Any, reading: Any) -> None:
    first = reading(AT, amplitude_code=1500.0, drive_vpk=1.0, scale_v_per_code=1e-3)
    # The very same codes would count as one record that was read twice.
    second = reading(AT, amplitude_code=1501.0, drive_vpk=1.0, scale_v_per_code=1.01e-3)
    with pytest.raises(UsageError, match=r"ch1 2V 100 %: displayed 0\.001 V a code, later 0\.00101 in the same run"):
        measured_points([first, second], law=law, device=device, input_ratio=1.0)


def test_constants_come_from_the_least_sensitive_position_of_each_range(law: Any, point: Any) -> None:
    points = [
        point(2, 3, 5, ratio=1.02),
        point(1, 3, 20, ratio=1.5),
        point(1, 3, 5, ratio=1.01, offset_code=2.5),
        point(1, 4, 0, ratio=0.99),
    ]
    found = range_constants(points, law)
    assert [(item.channel, item.coarse, item.fine) for item in found] == [(1, 3, 5), (1, 4, 0), (2, 3, 5)]
    assert [item.gain_ratio for item in found] == pytest.approx([1.01, 0.99, 1.02])
    assert (found[0].name, found[0].full_scale_vpp, found[0].offset_code) == ("2V", 2.0, 2.5)
    assert (found[0].u_percent, found[0].own_u_percent) == (0.1, 0.03)


def test_no_points_no_constants(law: Any) -> None:
    with pytest.raises(UsageError, match="nothing to calibrate; sweep again"):
        range_constants([], law)
