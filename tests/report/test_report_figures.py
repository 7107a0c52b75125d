"""Figures: where points stand, how deep a cell is, what an edge hides."""

from __future__ import annotations

import dataclasses
import re
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

from harness.report.figures import (
    at_input_svg,
    heat_grids,
    noise_svg,
    offset_svg,
    realness_grids,
    residual_svg,
    steps_svg,
)
from harness.report.figures.against_gain import engineering, marks_of, whole_decades
from harness.report.figures.canvas import LIMIT, inline_svg, look, scale_percent
from harness.report.figures.heat import share_of_limit
from harness.report.figures.places import GAP, places_of
from harness.values import Outcome, Realness, RealnessEvidence, RunResult, Setting


def drawn(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg.replace("<svg ", '<svg xmlns:xlink="http://www.w3.org/1999/xlink" ', 1))


def uses(svg: str) -> int:
    return len(list(drawn(svg).iter("use")))


@pytest.mark.parametrize(
    ("residual", "limit", "share"),
    [
        (1.0, (-2.0, 2.0), 0.5),
        (-1.0, (-4.0, 2.0), -0.25),
        (3.0, (-2.0, 0.0), 1.5),
        (0.0, (-2.0, 2.0), 0.0),
        (1.0, (0.0, 0.0), 0.0),
        (3.0, (None, 2.0), 1.5),
        (-1.0, (None, 2.0), -0.5),
        (1.0, (None, None), 0.0),
    ],
)
def test_share_of_limit(residual: float, limit: tuple[float | None, float | None], share: float) -> None:
    assert share_of_limit(residual, limit) == share


@pytest.mark.parametrize(
    ("residual", "kind", "letter"),
    [
        (0.0, "z", ""),
        (0.2, "z", ""),
        (0.21, "p1", ""),
        (-0.61, "n2", ""),
        (1.01, "p3", "+"),
        (-1.51, "n4", "−"),
        (2.0, "p4", "+"),
        (2.01, "p5", "+"),
        (-50.0, "n5", "−"),
    ],
)
def test_heat_cell(made: SimpleNamespace, residual: float, kind: str, letter: str) -> None:
    row = dataclasses.replace(made.good.settings[0], residual_percent=residual)
    (grid,) = heat_grids(dataclasses.replace(made.good, settings=(row,)))
    (cell,) = grid.cells
    assert (cell.kind, cell.letter, cell.mark) == (kind, letter, "")


@pytest.mark.parametrize(
    ("outcome", "residual", "look"),
    [
        (Outcome.FAIL, 9.0, ("p5", "+", "cross")),
        (Outcome.FAIL, 0.0, ("z", "", "cross")),
        (Outcome.FAIL, None, ("none", "", "cross")),
        (Outcome.INVALID, None, ("none", "", "hatch")),
        (Outcome.INVALID, 1.9, ("p4", "", "hatch")),
        (Outcome.INCONCLUSIVE, 1.9, ("p4", "?", "")),
        (Outcome.INCONCLUSIVE, None, ("none", "", "hatch")),
    ],
)
def test_heat_marks(
    made: SimpleNamespace, outcome: Outcome, residual: float | None, look: tuple[str, str, str]
) -> None:
    row = dataclasses.replace(made.good.settings[0], residual_percent=residual, outcome=outcome)
    ((cell,),) = (grid.cells for grid in heat_grids(dataclasses.replace(made.good, settings=(row,))))
    assert (cell.kind, cell.letter, cell.mark) == look
    assert cell.title.startswith("ch1 20V 100 %: ")
    assert cell.title.endswith(outcome)


def test_grids_hold_every_setting_once(made: SimpleNamespace) -> None:
    for grids in (heat_grids(made.failing), realness_grids(made.failing)):
        assert [grid.channel for grid in grids] == [1, 2, 3, 4]
        for grid in grids:
            assert len({(cell.x, cell.y) for cell in grid.cells}) == 231
            assert [name for _, name in grid.rows] == list(made.failing.coarse_names)
            assert [name for _, name in grid.columns] == ["100 %", "70 %", "40 %"]
            assert max(cell.x for cell in grid.cells) + 21 <= grid.width
            assert max(cell.y for cell in grid.cells) + 16 <= grid.height


def test_few_positions_are_wide_and_all_named_and_long_names_cut(made: SimpleNamespace) -> None:
    rows = tuple(row for row in made.small.settings if row.setting.fine in (0, 10, 20))
    names = ("a range with a name of many letters", *made.small.coarse_names[1:])
    (grid,) = heat_grids(dataclasses.replace(made.small, settings=rows, coarse_names=names))
    assert [name for _, name in grid.columns] == ["100 %", "70 %", "40 %"]
    assert grid.columns[1][0] - grid.columns[0][0] == grid.cell_width == 44
    assert grid.rows[0][1] == "a range with a name of …"
    assert grid.left >= 6 * 24
    assert min(cell.x for cell in grid.cells) == grid.left


def test_realness_letters(made: SimpleNamespace) -> None:
    rows = [dataclasses.replace(row, realness=kind) for row, kind in zip(made.good.settings[:5], Realness, strict=True)]
    (grid,) = realness_grids(dataclasses.replace(made.good, settings=tuple(rows)))
    assert [(cell.kind, cell.letter) for cell in grid.cells] == [
        ("hardware", "H"),
        ("arithmetic", "A"),
        ("mixed", "M"),
        ("unproven", "U"),
        ("fault", "F"),
    ]
    (ten, *_) = [cell for cell in realness_grids(made.good)[0].cells if "10mV" in cell.title]
    assert ten.title == "ch1 10mV 100 %: arithmetic ×2"


def test_places_leave_a_gap_between_ranges(made: SimpleNamespace) -> None:
    places = places_of(made.good)
    assert places.of(Setting(4, 0, 20)) == 20
    assert places.of(Setting(1, 1, 0)) == 21 + GAP
    assert places.ranges[1] == (1, 21 + GAP, 41 + GAP)
    assert places.channels == (1, 2, 3, 4)


@pytest.mark.parametrize(
    ("values", "limits", "reach"),
    [
        ([0.1], (-2.0, 2.0), 1.15 * 2.6),
        ([3.0], (-2.0, 2.0), 1.15 * 3.0),
        ([-900.0], (-2.0, 2.0), 1.15 * 4.0),
        ([0.5, -7.0], (None, None), 1.15 * 9.1),
        ([], (None, None), 1.15 * 0.13),
        ([0.1], (None, 2.0), 1.15 * 2.6),
    ],
)
def test_scale(values: list[float], limits: tuple[float | None, float | None], reach: float) -> None:
    assert scale_percent(values, limits) == pytest.approx((-reach, reach))


def test_every_setting_and_step_is_drawn(made: SimpleNamespace) -> None:
    """Axis marks and rings come on top of the points."""
    marks = 60
    assert 231 <= uses(residual_svg(made.small)) <= 231 + marks
    assert 430 <= uses(steps_svg(made.small)) <= 430 + marks


def test_missing_and_far_values_stay_visible(made: SimpleNamespace) -> None:
    assert 924 <= uses(residual_svg(made.mixed)) <= 1124
    text = residual_svg(made.failing)
    furthest = max(row.residual_percent for row in made.failing.settings)
    assert f"63 beyond, furthest +{furthest:.2f} %" in text
    assert uses(text) >= 924


def test_steps_ring_a_large_change_of_word(made: SimpleNamespace) -> None:
    """One of the two highest bits of nine changes: each such step has a ring besides its dot."""
    words = {row.setting: row.expected_word.value for row in made.small.settings}
    wanted = sum((words[step.lower] ^ words[step.upper]) >= 128 for step in made.small.steps if step.kind == "fine")
    assert wanted > 0
    plain = dataclasses.replace(
        made.small,
        settings=tuple(
            dataclasses.replace(row, expected_word=made.small.settings[0].expected_word) for row in made.small.settings
        ),
    )
    assert uses(steps_svg(made.small)) - uses(steps_svg(plain)) == wanted


def test_without_limits_none_is_drawn_or_named(made: SimpleNamespace) -> None:
    free = dataclasses.replace(made.small, gain_limit_percent=(None, None), gain_guard_percent=0.0)
    assert residual_svg(free).count(LIMIT) == 0 < residual_svg(made.small).count(LIMIT)
    titles = [cell.title for grid in heat_grids(free) for cell in grid.cells]
    assert titles
    assert not any("of the limit" in title for title in titles)


def test_nothing_to_draw(made: SimpleNamespace) -> None:
    assert residual_svg(made.empty) == ""
    assert steps_svg(made.empty) == ""
    assert (heat_grids(made.empty), realness_grids(made.empty)) == ((), ())


def test_a_kind_of_step_that_the_run_lacks_is_said(made: SimpleNamespace) -> None:
    only_coarse = tuple(step for step in made.small.steps if step.kind == "coarse")
    assert steps_svg(dataclasses.replace(made.small, steps=only_coarse)).count("none in this run") == 1
    assert "none in this run" not in steps_svg(made.small)


def test_one_setting_alone_is_drawn(made: SimpleNamespace) -> None:
    alone: RunResult = dataclasses.replace(made.good, settings=made.good.settings[:1], steps=())
    assert uses(residual_svg(alone)) > 0
    assert steps_svg(alone) == ""


def test_step_limits_come_from_the_judgements(made: SimpleNamespace) -> None:
    without = dataclasses.replace(made.small, judgements=())
    assert steps_svg(without) != steps_svg(made.small)


def bars(svg: str) -> list[tuple[float, float, float]]:
    """Place, lower and upper end of each bar: the half transparent paths."""
    paths = [path.get("d", "") for path in drawn(svg).iter("path") if "stroke-opacity: 0.45" in path.get("style", "")]
    parts = [part.split() for path in paths for part in path.split("M")[1:]]
    return [(float(p[0]), float(p[1]), float(p[4])) for p in parts if len(p) == 5]


def test_bars_are_as_long_as_the_uncertainty(made: SimpleNamespace) -> None:
    def drawn_bars(half: float) -> list[tuple[float, float, float]]:
        rows = tuple(
            dataclasses.replace(row, residual_percent=0.5, expanded_percent=half) for row in made.small.settings
        )
        return bars(residual_svg(dataclasses.replace(made.small, settings=rows)))

    short, long = drawn_bars(0.4), drawn_bars(0.8)
    assert len(short) == len(long) == 231
    assert [place for place, _, _ in short] == sorted({place for place, _, _ in short})
    for (_, low, high), (_, lower, higher) in zip(short, long, strict=True):
        assert abs(lower - higher) == pytest.approx(2 * abs(low - high), abs=0.05)
        assert low + high == pytest.approx(lower + higher, abs=0.05)
    assert bars(residual_svg(made.small)) == []


def test_bars_of_steps_are_as_long_as_the_uncertainty_of_their_claims(made: SimpleNamespace) -> None:
    def drawn_bars(half: float | None) -> list[tuple[float, float, float]]:
        claims = tuple(
            dataclasses.replace(one, expanded=half if one.item == "fine-step" else None)
            for one in made.small.judgements
        )
        return bars(steps_svg(dataclasses.replace(made.small, judgements=claims)))

    claimed = sum(one.item == "fine-step" for one in made.small.judgements)
    short, long = drawn_bars(0.1), drawn_bars(0.2)
    assert len(short) == len(long) == claimed > 0
    for (_, low, high), (_, lower, higher) in zip(short, long, strict=True):
        assert abs(lower - higher) == pytest.approx(2 * abs(low - high), abs=0.05)
    assert drawn_bars(None) == []


def test_a_bar_needs_a_point_in_view(made: SimpleNamespace) -> None:
    off, gone = (dataclasses.replace(row, expanded_percent=0.4) for row in made.small.settings[:2])
    rows = (
        dataclasses.replace(off, residual_percent=90.0),
        dataclasses.replace(gone, residual_percent=None),
        *made.small.settings[2:],
    )
    assert bars(residual_svg(dataclasses.replace(made.small, settings=rows))) == []


def test_fitted_rows_only_with_claims(made: SimpleNamespace) -> None:
    known = made.metrology
    text = residual_svg(known)
    assert text.count("fitted  %") == 4
    assert 2 * 924 <= uses(text) <= 2 * 924 + 120
    without = dataclasses.replace(known, judgements=tuple(j for j in known.judgements if j.item != "residual"))
    assert "fitted" not in residual_svg(without)
    assert 924 <= uses(residual_svg(without)) <= 924 + 60


def test_fitted_row_shows_what_the_claim_carries(made: SimpleNamespace) -> None:
    """Value, limits and guard band are the claim's; one without limits or without a row is left out."""
    known = dataclasses.replace(
        made.metrology, settings=tuple(row for row in made.metrology.settings if row.setting.channel == 1)
    )
    claims = [claim for claim in known.judgements if claim.item == "residual" and claim.setting.channel == 1]
    far = dataclasses.replace(claims[0], measured=7.25, outcome=Outcome.FAIL)
    assert "1 beyond, furthest +7.25 %" in residual_svg(dataclasses.replace(known, judgements=(far, *claims[1:])))
    base = residual_svg(dataclasses.replace(known, judgements=tuple(claims)))
    for change in ({"high": 0.6}, {"guard": 0.1}):
        other = dataclasses.replace(claims[0], **change)
        assert residual_svg(dataclasses.replace(known, judgements=(other, *claims[1:]))) != base
    no_limit = tuple(dataclasses.replace(claim, low=None) for claim in claims)
    assert "fitted" not in residual_svg(dataclasses.replace(known, judgements=no_limit))
    stray = dataclasses.replace(claims[0], setting=Setting(1, 40, 0))
    assert residual_svg(dataclasses.replace(known, judgements=(*claims, stray))) == base


def test_what_the_input_sees_falls_with_hardware_and_stays_with_arithmetic(made: SimpleNamespace) -> None:
    rows = [row for row in made.small.settings if row.setting.channel == 1]
    first = min(rows, key=lambda row: row.predicted_codes_per_v)
    assert first.predicted_codes_per_v < rows[-1].predicted_codes_per_v
    told = RealnessEvidence(
        words=Realness.HARDWARE, words_why="", waveform=Realness.HARDWARE, waveform_why="", both=Realness.HARDWARE,
        contradiction=False, confidence=0.9, power_m=None, hardware_ratio=None, arithmetic_ratio=None,
    )  # fmt: skip

    def figure(ratio: float, realness: Realness, clip_in_vpk: float | None) -> str:
        start = dataclasses.replace(told, code_step_in_v=1e-3, clip_in_vpk=clip_in_vpk)
        pair = (
            dataclasses.replace(first, evidence=start),
            dataclasses.replace(
                first, setting=dataclasses.replace(first.setting, fine=1), realness=realness,
                predicted_codes_per_v=10.0 * first.predicted_codes_per_v,
                evidence=dataclasses.replace(told, code_step_in_v=1e-3 * ratio),
            ),
        )  # fmt: skip
        return at_input_svg(dataclasses.replace(made.small, settings=pair))

    # From 1 at the left to 1/10 at the right of a panel that ends there: at the lower edge, or where it began.
    falls, stays = figure(0.1, Realness.HARDWARE, None), figure(1.0, Realness.ARITHMETIC, 2.0)
    dots = [re.findall(r"M([\d.]+) ([\d.]+)h", text) for text in (falls, stays)]
    (left, above), (right, below) = dots[0]
    assert float(left) < float(right)
    assert float(below) > float(above)
    assert dots[1] == [(left, above), (right, above)]
    assert "#a3341f" in stays
    assert "#a3341f" not in falls
    assert ("l6 6m0-6l-6 6" in stays, "l6 6m0-6l-6 6" in falls) == (True, False)
    assert at_input_svg(made.small) == ""


def test_noise_is_referred_to_the_input(made: SimpleNamespace) -> None:
    """12 codes at 4000 codes/V are 3 mV."""
    row = dataclasses.replace(made.small.settings[0], noise_code=12.0, measured_codes_per_v=4000.0)
    text = noise_svg(dataclasses.replace(made.small, settings=(row,)))
    assert {"1 mV", "10 mV", "1 k", "10 k", "ch1"} <= {"".join(item.itertext()) for item in drawn(text).iter("text")}


def test_noise_and_offset_draw_every_setting_with_a_gain(made: SimpleNamespace) -> None:
    with_gain = sum(row.measured_codes_per_v is not None for row in made.mixed.settings)
    assert with_gain < 924
    for text in (noise_svg(made.mixed), offset_svg(made.mixed)):
        assert with_gain <= uses(text) <= with_gain + 80
        assert text.count(">ch") == 4


def test_settings_without_noise_are_counted_not_drawn(made: SimpleNamespace) -> None:
    still = tuple(dataclasses.replace(row, noise_code=0.0) for row in made.small.settings[:3])
    text = noise_svg(dataclasses.replace(made.small, settings=(*still, *made.small.settings[3:])))
    assert "3 settings without any noise" in text
    assert "1 setting without any noise" in noise_svg(dataclasses.replace(made.small, settings=still[:1]))


def test_figures_against_gain_without_anything_to_draw(made: SimpleNamespace) -> None:
    bare = tuple(dataclasses.replace(row, noise_code=None, offset_code=None) for row in made.small.settings)
    dead = tuple(dataclasses.replace(row, measured_codes_per_v=0.0) for row in made.small.settings)
    for rows in (bare, dead, ()):
        result = dataclasses.replace(made.small, settings=rows)
        assert (noise_svg(result), offset_svg(result)) == ("", "")


def test_a_channel_without_a_gain_keeps_its_panel(made: SimpleNamespace) -> None:
    rows = tuple(
        dataclasses.replace(row, measured_codes_per_v=None) if row.setting.channel == 2 else row
        for row in made.good.settings
    )
    result = dataclasses.replace(made.good, settings=rows)
    assert [len(marks) for marks in marks_of(result, lambda row, _: row.offset_code).values()] == [231, 0, 231, 231]
    assert offset_svg(result).count("none in this run") == 1


def test_arithmetic_settings_are_open_rings(made: SimpleNamespace) -> None:
    marks = marks_of(made.small, lambda row, _: row.offset_code)[1]
    assert {mark.coarse for mark in marks if mark.hollow} == {10}
    assert sum(mark.hollow for mark in marks) == 21


def test_more_channels_than_columns(made: SimpleNamespace) -> None:
    rows = tuple(
        dataclasses.replace(row, setting=dataclasses.replace(row.setting, channel=channel))
        for channel in range(1, 7)
        for row in made.small.settings[:2]
    )
    assert offset_svg(dataclasses.replace(made.small, settings=rows)).count(">ch") == 6


@pytest.mark.parametrize(
    ("values", "decades"),
    [([2.0, 3.0], (1.0, 10.0)), ([10.0], (10.0, 100.0)), ([0.5, 2e4], (0.1, 1e5)), ([], (1.0, 10.0))],
)
def test_whole_decades(values: list[float], decades: tuple[float, float]) -> None:
    assert whole_decades(values) == pytest.approx(decades)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (1e-5, "V", "10 µV"),
        (1e-3, "V", "1 mV"),
        (1.0, "", "1"),
        (1e5, "", "100 k"),
        (1e-13, "V", "0.1 pV"),
        (1e9, "", "1 G"),
    ],
)
def test_engineering(value: float, unit: str, text: str) -> None:
    assert engineering(value, unit=unit) == text


def test_marks_share_their_style_and_lose_nothing(made: SimpleNamespace) -> None:
    """Three marks of one style, drawn by hand: three uses inside one group that carries the style."""
    with look("test"):
        from matplotlib.figure import Figure

        figure = Figure()
        axes = figure.subplots()
        axes.set_axis_off()
        axes.plot([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], linestyle="none", marker="o", color="#123456")
        root = drawn(inline_svg(figure, label="three"))
    space = "{http://www.w3.org/2000/svg}"
    (group,) = [group for group in root.iter() if len(group.findall("use")) + len(group.findall(f"{space}use")) == 3]
    assert "#123456" in group.get("style", "")
    assert all(use.get("style") is None for use in group)
