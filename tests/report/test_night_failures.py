"""The figure of a night's new failures."""

from __future__ import annotations

import dataclasses

from harness.report.figures.night_failures import MOST_PANELS, failures_svg
from harness.report.night_rows import failure_rows
from harness.values import NightFailure


def failure(number: int, course: tuple[tuple[float, float, bool], ...]) -> NightFailure:
    return NightFailure(
        unit="N1", label=f"ch1 5V {number} %", corners=("hot",), count=1, reason="gain", worst_percent=3.0, new=True,
        course=course, limit_percent=(-1.5, None),
    )  # fmt: skip


COURSE = ((0.5, 0.1, False), (2.0, 3.0, True), (3.5, -0.2, False))


def test_nothing_to_draw_is_no_figure() -> None:
    assert failures_svg([]) == ""
    assert failures_svg([failure(1, ())]) == ""


def test_one_panel_for_each_and_no_more_than_fit() -> None:
    one = failures_svg([failure(100, COURSE), failure(70, ())])
    assert one.startswith("<svg")
    assert "N1 ch1 5V 100 %" in one
    assert "70 %" not in one
    many = failures_svg([failure(number, COURSE) for number in range(MOST_PANELS + 3)])
    drawn = [number for number in range(MOST_PANELS + 3) if f"N1 ch1 5V {number} %" in many]
    assert drawn == list(range(MOST_PANELS))
    assert many == failures_svg([failure(number, COURSE) for number in range(MOST_PANELS + 3)])


def test_many_settings_of_a_channel_stand_in_one_line_few_in_lines_of_their_own() -> None:
    made = [failure(number, ()) for number in range(5)]
    low = dataclasses.replace(made[0], label="ch1 2V 70 %", worst_percent=-2.0)
    cold = dataclasses.replace(made[0], label="ch2 2V 70 %", corners=("cold",), worst_percent=None)
    made[4] = dataclasses.replace(made[4], worst_percent=7.5, count=3, reason="furthest off")
    rows = failure_rows([low, *made, cold])
    assert [(r.settings, r.runs, r.worst, r.corners) for r in rows] == [
        ("ch1: 5 settings, such as 5V 0 %, 5V 4 %", 3, "+3 to +7.5", ("hot",)),
        ("ch1 2V 70 %", 1, "−2", ("hot",)),
        ("ch2 2V 70 %", 1, "–", ("cold",)),
    ]
    assert rows[0].reason == "furthest off"
    assert [r.settings for r in failure_rows(made[:3])] == [one.label for one in made[:3]]
