"""What a design covers, by hand for the Skerry HR-4, and for designs with gaps."""

from __future__ import annotations

import itertools
import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harness.config.job_file import Ladder
from harness.ladder import coverage, drive_of, preview_rows, preview_summary
from harness.values import Coverage

DEVICES = Path(__file__).parents[2] / "configs" / "devices"


def covered(workshop, **ladder: Any) -> Coverage:
    drive = drive_of(
        workshop.device, workshop.bench,
        span_codes=4096, source_min_vpk=workshop.source_min_vpk, source_max_vpk=workshop.source_max_vpk,
    )  # fmt: skip
    return coverage(workshop.law, drive, Ladder.model_validate(ladder))


def test_rows_of_the_hr4(workshop) -> None:
    found = covered(workshop)
    assert len(found.rows) == 231
    row = found.rows[2 * 21 + 13]  # 5 V at 61 %: code 67 with pre-gain
    assert (row.coarse, row.fine, row.name) == (2, 13, "5V 61 %")
    assert row.gain_codes_per_v == pytest.approx(1345.2549019607843)
    assert row.scale_vpp == pytest.approx(4096.0 / 1345.2549019607843)
    assert row.nominal_scale_vpp == pytest.approx(3.05)
    assert row.step_db == pytest.approx(20.0 * math.log10(1345.2549019607843 / 1280.0))
    assert row.bits_used == pytest.approx(12.0 + math.log2(row.fill_ratio))
    assert row.reachable
    assert found.rows[0].step_db is None
    # arithmetic doubles the codes: one bit less of them is real
    assert found.rows[220].bits_used == pytest.approx(12.0 + math.log2(found.rows[220].fill_ratio) - 1.0)


def test_ranges_of_the_hr4_leave_no_gap(workshop) -> None:
    found = covered(workshop)
    assert [item.name for item in found.ranges][:2] == ["20V", "10V"]
    first = found.ranges[0]
    assert (first.most_scale_vpp, first.least_scale_vpp) == (pytest.approx(19.902439), pytest.approx(8.0))
    assert first.span_db == pytest.approx(20.0 * math.log10(102.0 / 41.0))
    assert first.overlap_db == pytest.approx(20.0 * math.log10(102.0 / 82.0))
    assert found.ranges[-1].overlap_db is None
    # 5 V at 40 % and 2 V at 100 % stand 0.04 dB apart: less than a fine step, so no gap
    assert found.ranges[2].overlap_db == pytest.approx(-0.0424, abs=1e-4)
    assert not any(item.gap for item in found.ranges)
    assert found.unreachable == 0
    assert found.span_db == pytest.approx(20.0 * math.log10(1024000.0 / 205.80392156862746))
    steps = np.diff(sorted(row.gain_db for row in found.rows))
    assert found.largest_step_db == pytest.approx(steps.max())
    assert found.largest_step_at == "10mV 43 % to 10mV 40 %"


def test_a_gap_between_ranges(workshop) -> None:
    workshop.device_data["coarse"] = [workshop.device_data["coarse"][index] for index in (0, 3)]  # 20 V and 2 V
    del workshop.device_data["quiet_noise"]
    found = covered(workshop)
    assert found.ranges[0].gap
    assert found.ranges[0].overlap_db == pytest.approx(20.0 * math.log10(512.0 / 2058.0392156862745))
    assert found.largest_step_at == "20V 40 % to 2V 100 %"
    assert found.largest_step_db == pytest.approx(-found.ranges[0].overlap_db)


def test_settings_that_the_source_cannot_reach(workshop) -> None:
    workshop.source_max_vpk = 0.3
    found = covered(workshop, fill_low=0.5)
    lost = [row for row in found.rows if not row.reachable]
    # 20 V needs 7.46 V peak; the last that 0.3 V peak fills to a half are settings of less than 1.2 V
    assert {row.name.split()[0] for row in lost} == {"20V", "10V", "5V", "2V"}
    assert all(row.scale_vpp > 1.199 for row in lost)
    assert found.ranges[0].unreachable == 21
    assert found.unreachable == len(lost) == sum(item.unreachable for item in found.ranges)
    assert found.ranges[0].least_fill_ratio == pytest.approx(0.6 / 19.902439 * 250e3 / 250050.0)
    assert found.ranges[0].least_bits_used < 7.0


def test_a_source_whose_least_is_above_what_is_permitted_reaches_nothing(workshop) -> None:
    workshop.source_min_vpk, workshop.bench_data["max_level_vpk"] = 0.16, 0.15
    assert covered(workshop).unreachable == 231


def test_one_range_with_one_position(workshop) -> None:
    workshop.device_data["coarse"] = workshop.device_data["coarse"][:1]
    workshop.device_data["fine"] = {"first_percent": 100.0, "last_percent": 100.0, "count": 1}
    del workshop.device_data["quiet_noise"]
    found = covered(workshop)
    assert found.largest_step_db == 0.0
    assert found.largest_step_at == ""
    (only,) = found.ranges
    assert (only.span_db, only.largest_step_db, only.distinct, only.gap) == (0.0, None, 1, False)


def test_neighbours_of_one_code_are_counted_once(workshop) -> None:
    workshop.device_data = tomllib.loads((DEVICES / "tarn-vg-1.toml").read_text())
    found = covered(workshop)
    assert [item.distinct for item in found.ranges] == [48, 48]
    assert found.ranges[0].overlap_db == pytest.approx(11.097, abs=1e-3)
    assert found.rows[1].step_db == 0.0
    assert found.rows[0].common_percent == pytest.approx(math.sqrt(1.0 + 0.25**2 + 0.05**2))


def test_a_source_of_86_db_behind_a_pad_cannot_fill_100_db(workshop) -> None:
    workshop.device_data = tomllib.loads((DEVICES / "corrie-ur-2.toml").read_text())
    workshop.bench_data["wiring"].update(pad_db=20.0, load_ohm=50.0, told_ohm=50.0)
    workshop.bench_data["uncertainty"]["pad"] = {"db": 0.02}
    found = covered(workshop)
    assert [item.unreachable > 0 for item in found.ranges] == [True, False, False, False, False]
    assert found.span_db == pytest.approx(100.0, abs=1e-6)


def test_rows_of_a_ladder_bear_tolerances_and_every_word(workshop) -> None:
    for stage in workshop.device_data["stage"]:
        stage.pop("tolerance", None)
    workshop.device_data["stage"][0]["tolerance"] = {"1:10": 0.2}
    workshop.device_data["stage"][3]["tolerance_percent"] = 0.3
    workshop.device_data["bus"]["lines"].pop()
    workshop.device_data["bus"]["on_bus"][4] = {
        "latch": "latch-4", "bits": 2, "channel": 1, "layout": [{"relay": "K1"}, {"relay": "K2"}],
    }  # fmt: skip
    rungs = workshop.build(channels=[1], coarse=["5V", "2V"], fine=[0], directions=["up"])
    first, second = preview_rows(rungs, workshop.law)
    assert (first.common_percent, first.independent_percent) == (pytest.approx(0.3), 0.0)
    assert second.independent_percent == pytest.approx(0.2)
    assert (first.word, second.word) == ("latch-1:0A3 latch-4:1", "latch-1:029 latch-4:2")


def test_fine_positions_set_by_name_have_no_codes(workshop) -> None:
    data = workshop.device_data
    data["stage"][2] = {"name": "steps", "kind": "switched-gain", "control": "g", "gains": {"1": 0.5, "2": 1.0}}
    data["firmware"] = {"rule": "table", "code": "g", "table": ["1", "2"], "prefer": {"pregain": 0}}
    data["fine"] = {"first_percent": 100.0, "last_percent": 50.0, "count": 2}
    data["coarse"] = data["coarse"][:1]
    data["coarse"][0]["controls"] = {"attenuator": "1:1"}
    del data["bus"], data["quiet_noise"], data["response"]
    rungs = workshop.build(channels=[1], fill_low=0.01, fill_high=0.99, fill_target=0.5)
    summary = preview_summary(rungs, workshop.law, workshop.device)
    assert summary.codes == ()
    assert summary.largest_fine_step_db == pytest.approx(6.020600, abs=1e-6)


def test_every_sensitivity_once(workshop) -> None:
    found = covered(workshop)
    pairs = itertools.pairwise([row for row in found.rows if row.coarse == 0])
    assert all(after.gain_db > before.gain_db for before, after in pairs)
