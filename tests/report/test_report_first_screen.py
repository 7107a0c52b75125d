"""The first screen: verdict, counts, worst setting, arithmetic, causes, notes."""

from __future__ import annotations

import dataclasses
import re
from types import SimpleNamespace

import pytest

from harness import report
from harness.report.parameters import worst_parameter
from harness.values import Judgement, Outcome


def words_of(text: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", text))


def first_screen(text: str) -> str:
    return words_of(text[text.index('<header class="first">') : text.index("</header>")])


def test_first_screen_of_a_good_run(pages: dict[str, str], made: SimpleNamespace) -> None:
    first = first_screen(pages["good"])
    for text in (
        "PASS All 924 settings meet every claim.",
        "924 of 924 settings tested 924 PASS 0 FAIL 0 INCONCLUSIVE 0 INVALID 0 of 1720 steps fail",
        "Unit A1 Device Skerry HR-4 Date 2026-11-25 09:59:57 UTC Operator M. Tester Bench simulated, seed 1",
        "84 settings: the whole 10mV range on all channels; declared",
        "allowed −2 % to +2 %, guard band 0.44 %",
        "Nothing to explain.",
    ):
        assert text in first
    worst = max(made.good.settings, key=lambda row: abs(row.residual_percent))
    assert f"{worst.residual_percent:+.2f} %".replace("-", "−") in first
    assert worst.label in first
    assert "incomplete" not in first


def test_first_screen_of_a_failing_run(pages: dict[str, str], made: SimpleNamespace) -> None:
    first = first_screen(pages["failing"])
    failing = sum(row.outcome is Outcome.FAIL for row in made.failing.settings)
    steps = sum(step.outcome is Outcome.FAIL for step in made.failing.steps)
    assert f"FAIL {failing} settings and {steps} steps fail." in first
    assert f"{failing} FAIL" in first
    assert f"{steps} of 1720 steps fail" in first
    for candidate in made.failing.candidates:
        assert f"{candidate.fault} : {candidate.why}. To tell apart: {candidate.test}." in first


def test_first_screen_of_a_run_with_budget_and_fitted_law(pages: dict[str, str], made: SimpleNamespace) -> None:
    first = first_screen(pages["metrology"])
    for text in (
        "FAIL 1 setting and 1 fitted parameter fail.",
        "U of gain 0.49 to 0.57 %, TUR 3.5 to 4.1",
        "Worst setting +0.14 % FAIL ch3 200mV 88 %",
        "guard band 0.44 %, U 0.49 %.",
        "Worst fitted parameter −1.734 % FAIL ch2 attenuator 1:10 allowed −1 % to +1 % , u 0.012 %",
        "Parameters that this ladder does not exercise: ch4 pregain.",
    ):
        assert text in first
    assert first.count("attenuator 1:10") == 1


def test_the_worst_parameter_is_the_furthest_beyond_its_own_limit(made: SimpleNamespace) -> None:
    """-1.734 % of 1 % is less than 3 % of 1.5 %, and more than 5 % of 4 %; one side may have no limit."""
    known = made.metrology
    far = dataclasses.replace(known.parameters[0], name="far", outcome=Outcome.FAIL)
    for deviation, low, high, name in (
        (3.0, -1.5, 1.5, "far"),
        (5.0, -4.0, 4.0, "attenuator 1:10"),
        (5.0, None, 1.0, "far"),
        (-5.0, -1.0, None, "far"),
    ):
        row = dataclasses.replace(far, deviation_percent=deviation, low=low, high=high)
        worst = worst_parameter(dataclasses.replace(known, parameters=(*known.parameters, row)))
        assert worst
        assert worst.name == name


def test_only_one_of_uncertainty_and_tur(made: SimpleNamespace) -> None:
    row = dataclasses.replace(made.good.settings[0], tur_ratio=12.4)
    text = report.html(made.header(), dataclasses.replace(made.good, settings=(row,)), ())
    assert "U of gain TUR 12 " in first_screen(text)


def test_a_failing_setting_comes_before_a_larger_residual(made: SimpleNamespace) -> None:
    row = dataclasses.replace(made.small.settings[5], outcome=Outcome.FAIL, reason="word", residual_percent=0.01)
    result = dataclasses.replace(made.small, settings=(*made.small.settings[:5], row))
    assert f"Worst setting +0.01 % FAIL {row.label}" in first_screen(report.html(made.header(), result, ()))


def test_first_screen_of_an_incomplete_run(pages: dict[str, str]) -> None:
    first = first_screen(pages["mixed"])
    assert "incomplete run" in first
    assert "840 of 924 settings tested" in first
    assert "86 INVALID" in first
    assert "63 settings: the whole 10mV range on ch1, ch2 and ch3; declared" in first
    assert "The run is incomplete: settings that were not read count as INVALID." in first


def test_verdict_has_word_shape_and_colour(pages: dict[str, str], made: SimpleNamespace) -> None:
    shapes = set()
    for outcome in Outcome:
        text = report.html(made.header(), dataclasses.replace(made.empty, verdict=outcome), ())
        start = text.index(f'<div class="verdict {outcome.lower()}">')
        shape = re.search(r'<svg class="shape (\w+)".*?</svg>', text[start:], re.DOTALL)
        assert shape
        assert shape[1] == outcome.lower()
        assert f'<span class="word">{outcome}</span>' in text
        shapes.add(re.sub('class="[^"]*"', "", shape[0]))
        assert f".verdict.{outcome.lower()} .word {{ color: var(--{outcome.lower()}); }}" in text
    assert len(shapes) == 4


def test_injected_faults_are_told_on_the_first_screen(made: SimpleNamespace) -> None:
    text = report.html(made.header(faults=("latch-missing:2", "relay-not-picking")), made.empty, ())
    assert "Faults were injected into the simulated bench: latch-missing:2, relay-not-picking." in first_screen(text)


@pytest.mark.parametrize(
    ("verdict", "counts", "sentence"),
    [
        (Outcome.PASS, (1, 0, 0, 0), "What was read meets every claim."),
        (Outcome.FAIL, (0, 1, 0, 0), "1 setting fails."),
        (Outcome.FAIL, (0, 0, 0, 0), "A claim of the run fails."),
        (Outcome.INCONCLUSIVE, (0, 0, 2, 0), "2 settings are not decided: too near a limit, or unproven."),
        (Outcome.INCONCLUSIVE, (0, 0, 1, 0), "1 setting is not decided"),
        (Outcome.INVALID, (0, 0, 0, 3), "No opinion about the unit: 3 settings could not be measured soundly."),
        (Outcome.INVALID, (0, 0, 0, 0), "No opinion about the unit: the whole run could not be measured soundly."),
    ],
)
def test_sentence(made: SimpleNamespace, verdict: Outcome, counts: tuple[int, ...], sentence: str) -> None:
    result = dataclasses.replace(
        made.empty, verdict=verdict, settings=made.good.settings[:3], counts=tuple(zip(Outcome, counts, strict=True))
    )
    assert sentence in first_screen(report.html(made.header(), result, ()))


def test_real_run_without_device_or_operator(made: SimpleNamespace) -> None:
    header = made.header(mode="real", seed=None, operator="", identities=(), files=())
    text = report.html(header, made.empty, ())
    assert "Device – " in first_screen(text)
    assert "Operator – Bench real Readings" in first_screen(text)
    assert "No instrument was identified." in text
    assert "Nothing was written down." in text


def test_a_station_fault_does_not_speak_of_the_unit(made: SimpleNamespace) -> None:
    claim = Judgement(
        item="station", setting=None, other=None, outcome=Outcome.INVALID, measured=None, low=None, high=None,
        guard=0.0, unit="", margin=None, reason="source-load-mis-set: all channels are off by ×2",
    )  # fmt: skip
    rows = tuple(dataclasses.replace(row, attempts=0, outcome=Outcome.INVALID) for row in made.small.settings)
    result = dataclasses.replace(
        made.small, verdict=Outcome.INVALID, judgements=(claim,), settings=rows, steps=(), complete=False
    )
    text = report.html(made.header(), result, ())
    assert "The station is at fault: nothing is said about the unit. Mend the station" in first_screen(text)
    assert f"{len(rows)} of {len(rows)} settings were never tried" in text
    findings = text[text.index('<section id="findings">') :].split("</section>")[0]
    assert "<table>" not in findings
    assert "passed." not in findings
