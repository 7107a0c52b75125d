"""The row of one claim: its figure read back, its table, its cells; and what stands above all rows."""

from __future__ import annotations

import html
import re
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

from harness.report import COLUMNS, detail_html, labels_of, line_cells, report_line, run_html
from harness.report.claim_detail import MOST_ROWS
from harness.report.figures.strip import DENSE, StripPoint, strip_svg
from harness.values import Judgement, Outcome, RunResult, Setting


def of(result: RunResult, item: str, channel: int, coarse: int) -> list[Judgement]:
    found = [one for one in result.judgements if one.item == item and one.setting]
    return [one for one in found if one.setting and (one.setting.channel, one.setting.coarse) == (channel, coarse)]


def point(value: float, outcome: Outcome = Outcome.PASS, **changes: object) -> StripPoint:
    filled = {"label": "ch1 2V 100 %", "short": "100 %", "low": -2.0, "high": 2.0, "guard": 0.4, "half": None}
    return StripPoint(value=value, outcome=outcome, **{**filled, **changes})


def values_of(svg: str) -> list[float]:
    return [float(text) for text in re.findall(r'data-value="([^"]*)"', svg)]


def test_a_strip_holds_every_number_as_it_was_handed_over() -> None:
    values = [0.1234567890123, -1.9, 230.0, -0.0]
    svg = strip_svg([point(value) for value in values], unit="%", label="x")
    assert values_of(svg) == values
    assert svg == strip_svg([point(value) for value in values], unit="%", label="x")
    assert strip_svg([], unit="%", label="x") == ""


def test_of_many_numbers_those_that_pass_are_one_path_and_the_others_keep_their_texts() -> None:
    values = [0.01 * number for number in range(DENSE + 5)]
    dense = [point(value, half=0.1) for value in values]
    svg = strip_svg([*dense, point(1.9, Outcome.FAIL), point(50.0)], unit="%", label="x")
    root = ElementTree.fromstring(svg)
    (course,) = [path for path in root.iter("path") if path.get("data-values")]
    assert [float(text) for text in (course.get("data-values") or "").split()] == pytest.approx(values)
    assert (course.get("d") or "").count("h0") == len(values)
    bars = [path.get("d") or "" for path in root.iter("path") if "V" in (path.get("d") or "")]
    assert [bar.count("V") for bar in bars] == [len(values)]
    assert [title.text for title in root.iter("title")] == ["ch1 2V 100 %: 1.9, FAIL", "ch1 2V 100 %: 50, PASS"]
    # Limits that are the same everywhere are one line each, and one band around each.
    assert svg.count('stroke="#a3341f" stroke-width="1.4"') == svg.count('fill="#e9d3a8"') == 2


def test_a_strip_draws_to_scale_and_keeps_gross_values_at_the_edge() -> None:
    svg = strip_svg([point(1.0), point(-1.0), point(9.0, Outcome.FAIL)], unit="%", label="x")
    root = ElementTree.fromstring(svg)
    ys = [float(c.get("cy") or "") for c in root.iter("circle")]
    # Limits of 2 and a gross value: the scale reaches 2.5 times the limit; 170 high less 14 above and 38 below.
    middle = 14 + (170 - 14 - 38) / 2
    assert [y - middle for y in ys] == [pytest.approx(-118 / 10.0, abs=0.06), pytest.approx(118 / 10.0, abs=0.06)]
    arrows = [path.get("d") for path in root.iter("path") if (path.get("d") or "").endswith("z")]
    assert len(arrows) == 1
    assert re.search(r" 14\.0h", arrows[0] or "")


def test_a_long_unit_stands_once_and_no_number_on_another() -> None:
    svg = strip_svg([point(1.0, low=-2.0, high=2.0), point(1.0, low=1.99, high=None)], unit="codes rms", label="x")
    texts = [text.text for text in ElementTree.fromstring(svg).iter("text")]
    assert texts[:4] == ["0.00", "+1.99", "\N{MINUS SIGN}2.00", "codes rms"]


def test_one_sided_limits_begin_at_zero_and_uncertainty_is_a_bar() -> None:
    quiet = point(1.0, low=None, high=4.0, half=0.5)
    root = ElementTree.fromstring(strip_svg([quiet], unit="codes", label="x"))
    texts = [text.text for text in root.iter("text")]
    assert texts == ["0.00 codes", "+4.00 codes", "100 %"]
    high, span = 5.0, 170 - 14 - 38

    def y(value: float) -> str:
        return f"{14 + (high - value) / high * span:.1f}"

    assert any(y(1.5) in (p.get("d") or "") and y(0.5) in (p.get("d") or "") for p in root.iter("path"))


def test_without_limits_the_scale_holds_the_bars() -> None:
    free = point(-0.01, low=None, high=None, half=0.2)
    root = ElementTree.fromstring(strip_svg([free], unit="%", label="x"))
    (bar,) = [path.get("d") or "" for path in root.iter("path") if path.get("stroke") == "#2f5d8a"]
    top, bottom = (float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", bar))
    assert 14.0 < top < bottom < 170.0 - 38.0


def test_a_detail_holds_every_judgement_once_the_gravest_first(made: SimpleNamespace) -> None:
    decided = of(made.failing, "gain", 1, 7)
    text = detail_html(decided, made.failing, labels=labels_of(made.failing), name="ch1-100mV-gain")
    ordered = sorted(decided, key=lambda one: one.setting or Setting(0, 0, 0))
    assert values_of(text) == [one.measured for one in ordered]
    rows = re.findall(r'<tr><th scope="row">(.*?)</th><td>(.*?)</td>', text)
    assert len(rows) == len(decided)
    outcomes = [outcome for _, outcome in rows]
    assert outcomes == sorted(outcomes, key=["FAIL", "INVALID", "INCONCLUSIVE", "PASS"].index)
    assert {outcomes.count("FAIL"), outcomes.count("PASS")} == {
        sum(one.outcome is Outcome.FAIL for one in decided), sum(one.outcome is Outcome.PASS for one in decided)
    }  # fmt: skip
    assert "<script" not in text
    assert "http" not in text


def test_claims_without_numbers_have_a_table_alone_and_steps_name_both_sides(made: SimpleNamespace) -> None:
    labels = labels_of(made.failing)
    words = detail_html(of(made.failing, "word", 1, 7), made.failing, labels=labels, name="x")
    assert "<svg" not in words
    assert words.count('<th scope="row">') == 21
    steps = detail_html(of(made.failing, "coarse-step", 3, 3), made.failing, labels=labels, name="x")
    assert "ch3 5V 100 % to ch3 2V 100 %" in steps
    assert "2V 100 %</text>" in steps
    assert detail_html([], made.failing, labels=labels, name="x") == ""


def test_a_long_table_is_cut_and_counted_and_names_are_escaped(made: SimpleNamespace) -> None:
    evil = Judgement(
        item="bus-timing", setting=None, other=None, outcome=Outcome.FAIL, measured=None, low=None, high=None,
        guard=0.0, unit="", margin=None, reason="<b>&",
    )  # fmt: skip
    text = detail_html([evil] * (MOST_ROWS + 3), made.failing, labels={}, name="<i>")
    assert "3 more are in the unit's report" in html.unescape(text)
    assert text.count("&lt;b&gt;&amp;") == MOST_ROWS
    assert "<i>" not in text
    assert '<th scope="row">run</th>' in text


def test_cells_follow_the_columns(made: SimpleNamespace) -> None:
    line = report_line("gain", of(made.failing, "gain", 1, 7), made.failing, labels=labels_of(made.failing))
    shown = dict(zip(COLUMNS, line_cells(line), strict=True))
    worst = min(of(made.failing, "gain", 1, 7), key=lambda one: one.margin or 0.0)
    assert shown["outcome"] == "FAIL"
    assert shown["limit"] == "−2 % to +2 %"
    assert float(shown["measured"].replace("−", "-").rstrip(" %")) == pytest.approx(worst.measured, abs=6e-4)
    assert float(shown["margin"].replace("−", "-").rstrip(" %")) == pytest.approx(worst.margin, abs=6e-4)
    assert line.margin_number == worst.margin


def test_above_the_rows_stand_run_unit_seed_and_hashes(made: SimpleNamespace) -> None:
    header = made.header()
    text = run_html(header, made.failing, [("ranges swept", "3 of <4>")])
    for expected in (header.run_id, "A1", "simulated, seed 1", "fe" * 32, "3 of &lt;4&gt;", ">FAIL<"):
        assert expected in text
