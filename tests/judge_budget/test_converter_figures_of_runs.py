"""Converter figures of a whole run against the simulator's own truth, and on page, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
import math

import pytest

from harness import report
from harness.app.run import judge_of
from harness.app.setup import Setup, read_setup
from harness.simulated import JumpClock, build_world
from harness.values import Identity, RunHeader, RunResult
from tests.studies.false_fail import readings_of

SEED = 3
HEADER = RunHeader(
    run_id="r", unit="u", operator="o", started_utc="2026-01-01T00:00:00", mode="simulated", seed=SEED, faults=(),
    planned=1, identities=(("source", Identity(manufacturer="a", model="b", serial="c", firmware="d")),), files=(),
    software="1",
)  # fmt: skip


@pytest.fixture(scope="module")
def setup() -> Setup:
    return read_setup("configs/jobs/ci.toml")


@pytest.fixture(scope="module")
def result(setup: Setup) -> RunResult:
    judge = judge_of(setup)
    for reading in readings_of(setup, SEED):
        judge.take(reading)
    return judge.result()


def test_offset_and_noise_are_told_apart_as_the_simulator_has_them(setup: Setup, result: RunResult) -> None:
    world = build_world(setup.bench.file, seed=SEED, faults=(), clock=JumpClock(), file="bench")
    assert [(row.channel, row.path) for row in result.paths] == [
        (channel, path) for channel in (1, 2) for path in ("K2", "K1", "no relay")
    ]
    for row in result.paths:
        parts = world.device.front_ends[row.channel].parts
        # Offset and noise come in behind the attenuator, so at the input they are that much larger.
        ratio = parts.relay_gain(frozenset({row.path} - {"no relay"}))
        assert row.offset_before_v == pytest.approx(parts.offset_in_v / ratio, abs=6 * row.u_offset_before_v)
        # 3 dB of doubt about the noise of five to twenty-five settings would show as 40 %.
        assert row.noise_before_v == pytest.approx(parts.noise_in_v / ratio, rel=0.1)
        assert row.offset_after_code == pytest.approx(parts.offset_out_code, abs=0.1)
        # Rounding to codes of uneven width adds a twelfth of a code squared, and a little.
        assert row.noise_after_code == pytest.approx(math.hypot(parts.noise_out_code, 12.0**-0.5), rel=0.03)


def test_figures_of_each_setting_by_their_definitions(setup: Setup, result: RunResult) -> None:
    for row in result.settings:
        made = row.figures
        assert made is not None
        assert row.noise_code is not None
        assert row.fill_ratio is not None
        assert row.measured_codes_per_v is not None
        step = 2.0 if row.setting.coarse == 10 else 1.0
        residual = row.noise_code / step
        assert made.enob_bits == pytest.approx(math.log2(4096.0 / (residual * 12.0**0.5)), abs=2e-3)
        # Of the hardware: doubling codes behind it uses none.
        assert made.used_bits == pytest.approx(made.enob_bits + math.log2(row.fill_ratio / step), abs=0.01)
        amplitude = row.fill_ratio * 2048.0
        assert made.sinad_db == pytest.approx(20.0 * math.log10(amplitude / step / 2.0**0.5 / residual), abs=0.1)
        assert made.noise_in_v == pytest.approx(row.noise_code / row.measured_codes_per_v, rel=1e-3)
        # Four thousand samples on some three thousand codes: many are missed, never ten in a row.
        assert 0.0 < made.gap_share_ratio < 0.4
        assert made.gap_longest < 10
        assert made.gap_empty == pytest.approx(made.gap_share_ratio * made.gap_inner)


def test_they_are_in_every_form_of_the_report(result: RunResult) -> None:
    page = report.html(HEADER, result, ())
    assert "Offset and noise, before and after the gain" in page
    assert "codes not hit" in page
    rows = list(csv.DictReader(io.StringIO(report.csv_text(HEADER, result), newline="")))
    content = json.loads(report.json_text(HEADER, result))
    for shown, record, row in zip(rows, content["settings"], result.settings, strict=True):
        assert row.figures is not None
        assert float(shown["sinad_db"]) == record["figures"]["sinad_db"] == row.figures.sinad_db
        assert int(shown["gap_empty"]) == row.figures.gap_empty
    assert len(content["paths"]) == len(result.paths)
    assert content["flags"] == []
