"""The figures behind the first ones, read back; and what was taken again."""

from __future__ import annotations

import dataclasses
import math
import re
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

from harness import report
from harness.report.figures import bits_svg, gross_svg, other_strips, parameter_strips, updown_svg
from harness.report.figures.bits import ROW
from harness.report.figures.panels import BOTTOM, LEFT, RIGHT, TOP, WIDTH, Axis, Panel, PanelPoint, panels_svg
from harness.report.labels import labels_of
from harness.report.trouble import MOST_LINES
from harness.values import Event, Judgement, Outcome, Setting

LINEAR = Axis(low=0.0, high=10.0, ticks=((5.0, "five"),), name="x")


def numbers(svg: str, name: str) -> list[float]:
    return [float(text) for text in re.findall(rf'{name}="([^"]*)"', svg)]


def dots(svg: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"M([\d.]+) ([\d.]+)h\.1", svg)]


def titles(svg: str) -> list[str]:
    return [element.text or "" for element in ElementTree.fromstring(svg).iter("title")]


def test_points_stand_where_the_axes_say() -> None:
    # Closed form: one panel takes the whole width; the middle of a logarithmic axis is the geometric mean of its ends.
    loud = Axis(low=1.0, high=100.0, ticks=(), name="y", logarithmic=True)
    panel = Panel(title="a<b", points=(PanelPoint(x=2.5, y=10.0, colour="#000"),))
    svg = panels_svg([panel], x=LINEAR, y=loud, label="l", height=100)
    assert dots(svg) == [(pytest.approx(LEFT + 0.25 * (WIDTH - LEFT - RIGHT), abs=0.051), TOP + 50.0)]
    assert ">a&lt;b</text>" in svg
    assert panels_svg([], x=LINEAR, y=loud, label="l") == ""


def test_panels_wrap_into_rows_and_an_empty_one_says_so() -> None:
    svg = panels_svg([Panel(title=f"ch{n}", points=()) for n in range(5)], x=LINEAR, y=LINEAR, label="l", height=100)
    assert f'viewBox="0 0 {WIDTH} {2 * (100 + TOP + BOTTOM)}"' in svg
    assert svg.count(">none</text>") == 5


def test_the_gross_shape_draws_every_gain_and_marks_failures(made: SimpleNamespace) -> None:
    rows = made.failing.settings
    failed = [row for row in rows if row.outcome is Outcome.FAIL]
    svg = gross_svg(made.failing)
    assert len(dots(svg)) == len(rows) - len(failed)
    assert svg.count("l6 6m0-6l-6 6") == len(failed)
    # Where the relay does not pick the gain is ten times too high: one of the five decades from 100 to 10 M codes/V.
    crosses = [float(y) + 3.0 for y in re.findall(r"M[\d.]+ ([\d.]+)l6 6", svg)]
    lifted = [row for row in failed if row.setting.channel == 3]
    expected = [TOP + 190.0 * (1.0 - math.log10((row.measured_codes_per_v or 1.0) / 100.0) / 5.0) for row in lifted]
    assert all(min(abs(y - place) for y in crosses) < 0.11 for place in expected)
    assert svg == gross_svg(made.failing)
    nothing = [dataclasses.replace(row, measured_codes_per_v=None) for row in rows]
    assert gross_svg(dataclasses.replace(made.failing, settings=tuple(nothing))) == ""


def test_bits_that_differ_are_drawn_and_no_others(made: SimpleNamespace) -> None:
    wrong = [row for row in made.failing.settings if row.captured_words != (str(row.expected_word),)]
    assert wrong
    root = ElementTree.fromstring(bits_svg(made.failing))
    marks = [rect for group in root.iter("g") for rect in group.iter("rect")]
    assert len(marks) == len(wrong)
    # Bit 4 of nine is the fifth row from below; it was commanded 1.
    assert {float(rect.get("y") or "") for rect in marks} == {20.0 + (9 - 1 - 4) * ROW + 1}
    assert {rect.get("fill") for rect in marks} == {"#a3341f"}
    first = wrong[0]
    assert f"{first.label}: {first.expected_word.value & ~16:X} captured, {first.expected_word.value:X} commanded" in (
        titles(bits_svg(made.failing))
    )
    assert bits_svg(made.good) == ""
    assert "Every captured word is the commanded one." in report.html(made.header(), made.good, ())


def test_a_note_behind_a_word_is_none_of_its_bits(made: SimpleNamespace) -> None:
    rows = list(made.good.settings)
    word = rows[0].expected_word
    rows[0] = dataclasses.replace(rows[0], captured_words=(f"{word} re-latch", f"{word} (2 latches)"))
    assert bits_svg(dataclasses.replace(made.good, settings=tuple(rows))) == ""
    rows[0] = dataclasses.replace(rows[0], captured_words=(f"{word.latch}:00D re-latch",))
    svg = bits_svg(dataclasses.replace(made.good, settings=tuple(rows)))
    assert f"{rows[0].label}: D captured, {word.value:X} commanded" in titles(svg)


def test_a_setting_that_latched_nothing_of_its_own_is_grey(made: SimpleNamespace) -> None:
    rows = list(made.good.settings)
    rows[0] = dataclasses.replace(rows[0], captured_words=("latch-2:001",))
    rows[1] = dataclasses.replace(rows[1], captured_words=())
    svg = bits_svg(dataclasses.replace(made.good, settings=tuple(rows)))
    assert titles(svg) == [f"{rows[0].label}: no single word of its own was latched"]


def test_up_against_down_holds_every_number(made: SimpleNamespace) -> None:
    svg = updown_svg(made.small)
    known = [row.up_down_percent for row in made.small.settings]
    most = max(abs(value) for value in known)
    # The scale reaches 1.1 times the largest number; the panel is 110 high.
    heights = [TOP + 55.0 - value / (1.1 * most) * 55.0 for value in known]
    assert sorted(y for _, y in dots(svg)) == pytest.approx(sorted(heights), abs=0.051)
    assert len({x for x, _ in dots(svg)}) == len(known)
    rows = tuple(dataclasses.replace(row, up_down_percent=None) for row in made.good.settings)
    assert updown_svg(dataclasses.replace(made.good, settings=rows)) == ""


def test_parameters_are_bars_of_twice_their_uncertainty(made: SimpleNamespace) -> None:
    known = [row for row in made.metrology.parameters if row.identifiable]
    shown = [value for strip in parameter_strips(made.metrology) for value in numbers(strip.svg, "data-value")]
    assert shown == [row.deviation_percent for row in known]
    assert len(parameter_strips(made.metrology)) == 4
    assert parameter_strips(made.good) == ()


def test_claims_without_a_figure_of_their_own_get_a_strip(made: SimpleNamespace) -> None:
    claims = [
        Judgement(
            item="offset", setting=Setting(channel, 2, fine), other=None, outcome=Outcome.PASS, measured=1.5 * fine,
            low=-40.0, high=40.0, guard=1.0, unit="codes", margin=1.0, reason="",
        )
        for channel in (1, 2)
        for fine in (0, 20)
    ]  # fmt: skip
    result = dataclasses.replace(made.good, judgements=(*made.good.judgements, *claims))
    strips = other_strips(result, labels_of(result))
    assert [strip.title for strip in strips] == ["offset, ch1", "offset, ch2"]
    assert numbers(strips[0].svg, "data-value") == [0.0, 30.0]
    assert "codes" in strips[0].svg
    assert "All other claims with numbers" in report.html(made.header(), result, ())


def test_what_was_taken_again_is_counted_and_cut(made: SimpleNamespace) -> None:
    lines = [Event(at_utc="2026-11-25T10:00:00Z", at_s=1.0, kind="retry", text=f"ch1: late {n}") for n in range(50)]
    lines.append(Event(at_utc="2026-11-25T10:00:00Z", at_s=1.0, kind="invalid", text="ch1: gone"))
    page = report.html(made.header(), made.good, tuple(lines))
    section = page[page.index('id="trouble"') : page.index('id="appendix"')]
    assert "retry: 50; invalid: 1" in section
    assert f"{51 - MOST_LINES} more are in the journal below" in section
    assert "Taken again, or not measured" not in report.html(made.header(), made.good, made.events())
