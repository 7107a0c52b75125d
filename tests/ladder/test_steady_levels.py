"""Steady levels and their dither, planned: which settings, how far apart, never beyond what may be put out."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from harness.app.preview_text import ladder_text
from harness.app.setup import ground_of
from harness.config import Extra
from harness.errors import ConfigError
from harness.ladder import plan_extras, preview_rows, preview_summary
from harness.ladder.steady import steady_pair
from harness.values import Purpose, Rung
from tests.steady_bench import steady_setup

SETUP = steady_setup()
GROUND = ground_of(SETUP)


def plan(changes: dict[str, object] | None = None, **asked: object) -> tuple[Rung, ...]:
    extra = Extra.model_validate({"dc_fill": 0.75, **asked})
    return plan_extras(dataclasses.replace(GROUND, **(changes or {})), extra, file="job.toml")


def test_both_signs_at_the_ends_of_each_range() -> None:
    found = plan()
    assert [(rung.purpose, rung.setting.coarse, rung.setting.fine) for rung in found] == [
        (purpose, coarse, fine)
        for coarse in (0, 1)
        for fine in (0, 56)
        for purpose in (Purpose.DC_PLUS, Purpose.DC_MINUS)
    ]
    # The board's least gain: 2000 codes/V · 0.2787 V/V; 0.75 · 2048 codes are 2.756 V.
    above, below = found[0].steady, found[1].steady
    assert above is not None
    assert below is not None
    assert above.level_v == pytest.approx(2.756, rel=1e-3)
    assert below.level_v == -above.level_v
    assert found[0].drive_vpk == found[1].drive_vpk == above.level_v


def test_every_setting_of_the_ladder_where_asked() -> None:
    wide = dataclasses.replace(GROUND, ladder=steady_setup(fines=(0, 10, 20)).rungs)
    found = plan_extras(wide, Extra.model_validate({"dc_fill": 0.6, "dc_settings": "all"}), file="job.toml")
    assert [rung.setting.fine for rung in found[::2]] == [0, 10, 20, 0, 10, 20]
    assert {round(rung.fill_ratio, 3) for rung in found} == {0.6}


@pytest.mark.parametrize("positions", [8, 16])
def test_the_dither_is_one_code_wide_about_the_level(positions: int) -> None:
    rung = plan(dither_positions=positions)[1]
    assert rung.steady is not None
    codes = [level_v * GROUND.drive.input_ratio * rung.prediction.gain_codes_per_v for level_v in rung.steady.dither_v]
    assert len(codes) == positions
    middle = rung.steady.level_v * GROUND.drive.input_ratio * rung.prediction.gain_codes_per_v
    assert [code - middle for code in codes] == pytest.approx(
        [(k + 0.5) / positions - 0.5 for k in range(positions)], abs=1e-6
    )


def test_no_dither_where_the_source_cannot_step_so_finely() -> None:
    # 100 000 codes/V at the top: a code is 10 uV, a position of eight 1.25 uV, a step of the source 10 uV.
    low, top = plan()[0], plan()[-1]
    assert low.steady is not None
    assert len(low.steady.dither_v) == 8
    assert top.steady is not None
    assert top.steady.dither_v == ()
    fine = plan({"steady_step_v": 5.0e-7})[-1]
    assert fine.steady is not None
    assert len(fine.steady.dither_v) == 8


def test_when_it_is_taken() -> None:
    asked = {mode: plan(dither=mode)[0].steady for mode in ("quiet", "always", "never")}
    found = {mode: (len(one.dither_v), one.always) for mode, one in asked.items() if one is not None}
    assert found == {"quiet": (8, False), "always": (8, True), "never": (0, False)}


@pytest.mark.parametrize(
    ("wanted_vpk", "dither", "lower_code"), [(0.9, "quiet", 0.0), (1.0, "quiet", 0.5), (1.0, "never", 0.0)]
)
def test_no_level_of_a_dither_is_beyond_the_limit(wanted_vpk: float, dither: Any, lower_code: float) -> None:
    drive = dataclasses.replace(GROUND.drive, most_vpk=1.0, input_ratio=1.0)
    pair = steady_pair(drive, gain_codes_per_v=100.0, level_vpk=wanted_vpk, step_v=1e-5, dither=dither, positions=8)
    levels = [level_v for one in pair for level_v in (one.level_v, *one.dither_v)]
    assert max(map(abs, levels)) <= 1.0
    assert pair[0].level_v == -pair[1].level_v == pytest.approx(wanted_vpk - lower_code / 100.0)


@pytest.mark.parametrize("missing", ["coupling", "source", "level"])
def test_what_cannot_be_measured_at_dc_is_an_error(missing: str) -> None:
    changes: dict[str, object] = {"steady_step_v": None}
    if missing == "level":
        changes = {"drive": dataclasses.replace(GROUND.drive, most_vpk=1e-3)}
    with pytest.raises(ConfigError, match=r"extra\.dc_fill: got 0\.75, .*a DC-coupled device \(input\.coupling"):
        plan(changes)


def test_fewer_than_eight_positions_are_refused() -> None:
    with pytest.raises(ValueError, match="dither_positions"):
        Extra.model_validate({"dc_fill": 0.75, "dither_positions": 7})


def test_the_preview_shows_level_and_dither(capsys: pytest.CaptureFixture[str]) -> None:
    for mode, said in (
        ("quiet", "[dc-plus +2.756 V, 8 levels over one code if quiet]"),
        ("always", "[dc-plus +2.756 V, 8 levels over one code]"),
        ("never", "[dc-minus -2.756 V, no dither]"),
    ):
        rungs = plan(dither=mode)
        ladder_text(preview_rows(rungs, SETUP.law), preview_summary(rungs, SETUP.law, SETUP.device))
        assert said in capsys.readouterr().out
    record_s = 4000 / 500e3 + SETUP.device.settle.fine_s
    times = [preview_summary(plan(dither=mode), SETUP.law, SETUP.device).duration_s for mode in ("quiet", "always")]
    # Two settings of four can be dithered, at both signs.
    assert times[1] - times[0] == pytest.approx(4 * 7 * record_s)
