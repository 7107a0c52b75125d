"""Figures: where points stand, how deep a cell is, what an edge hides."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

from harness.report.figures import heat_grids, realness_grids, residual_svg, steps_svg
from harness.report.figures.canvas import scale_percent
from harness.report.figures.heat import share_of_limit
from harness.report.figures.places import GAP, places_of
from harness.values import Outcome, Realness, RunResult, Setting


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
    ],
)
def test_share_of_limit(residual: float, limit: tuple[float, float], share: float) -> None:
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
        ([0.5, -7.0], (-100.0, 100.0), 1.15 * 9.1),
        ([], (-100.0, 100.0), 1.15 * 0.13),
    ],
)
def test_scale(values: list[float], limits: tuple[float, float], reach: float) -> None:
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
