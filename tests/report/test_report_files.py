"""CSV, JSON, JUnit and the summary, read back by readers of their own."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
import re
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

from harness import report
from harness.errors import NotFinite
from harness.values import Judgement, Outcome, Realness, Setting, SettingResult

AWKWARD = 'a "quoted", name\nof two lines, µ 模 \x00'


def test_csv_reads_back_exactly(made: SimpleNamespace) -> None:
    text = report.csv_text(made.header(), made.failing)
    assert text.count("\r\n") == 925
    assert "\n" not in text.replace("\r\n", "")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(rows) == 924
    for shown, row in zip(rows, made.failing.settings, strict=True):
        assert (shown["run"], shown["unit"]) == ("20261125T095957-1a2b3c4d", "A1")
        where = Setting(int(shown["channel"]), int(shown["coarse_index"]), int(shown["fine_index"]))
        assert where == row.setting
        assert (shown["range"], shown["fine"], shown["setting"]) == (*row.label.split(" ", 2)[1:], row.label)
        for name in ("predicted_codes_per_v", "measured_codes_per_v", "residual_percent", "up_down_percent"):
            assert float(shown[name]) == getattr(row, name)
        for name in ("drive_vpk", "fill_ratio", "offset_code", "noise_code", "arithmetic_ratio"):
            assert float(shown[name]) == getattr(row, name)
        assert (shown["outcome"], shown["word_outcome"], shown["realness"]) == (
            row.outcome,
            row.word_outcome,
            row.realness,
        )
        assert (shown["expected_word"], shown["captured_words"]) == (
            str(row.expected_word),
            " ".join(row.captured_words),
        )
        assert (float(shown["limit_low_percent"]), float(shown["limit_high_percent"])) == (-2.0, 2.0)
        assert (float(shown["guard_percent"]), int(shown["attempts"]), int(shown["code_spacing"])) == (
            0.44,
            row.attempts,
            row.code_spacing,
        )


def test_csv_of_uncertainty_and_flags(made: SimpleNamespace) -> None:
    rows = list(csv.DictReader(io.StringIO(report.csv_text(made.header(), made.metrology), newline="")))
    for shown, row in zip(rows, made.metrology.settings, strict=True):
        for name in ("fitted_percent", "expanded_percent", "own_percent", "tur_ratio"):
            assert float(shown[name]) == getattr(row, name)
        assert shown["flags"] == " ".join(row.flags)
    without = next(csv.DictReader(io.StringIO(report.csv_text(made.header(), made.good), newline="")))
    names = ("fitted_percent", "expanded_percent", "own_percent", "tur_ratio", "flags")
    assert [without[name] for name in names] == [""] * 5
    start = tuple(without).index(names[0])
    assert tuple(without)[start : start + 5] == names


def test_csv_of_risks(made: SimpleNamespace) -> None:
    names = ("gain_conformance_ratio", "gain_consumer_risk_ratio", "gain_producer_risk_ratio")
    row = dataclasses.replace(made.good.settings[0], **dict(zip(names, (0.95, 0.05, None), strict=True)))
    text = report.csv_text(made.header(), dataclasses.replace(made.good, settings=(row,)))
    (shown,) = csv.DictReader(io.StringIO(text, newline=""))
    assert [shown[name] for name in names] == ["0.95", "0.05", ""]


def test_csv_of_missing_values_and_awkward_names(made: SimpleNamespace) -> None:
    row = dataclasses.replace(made.mixed.settings[-1], label=AWKWARD, reason='"')
    text = report.csv_text(made.header(unit=AWKWARD), dataclasses.replace(made.mixed, settings=(row,)))
    (shown,) = csv.DictReader(io.StringIO(text, newline=""))
    assert shown["setting"] == shown["unit"] == AWKWARD.replace("\x00", "\ufffd")
    assert shown["reason"] == '"'
    for name in ("measured_codes_per_v", "residual_percent", "drive_vpk", "noise_code", "code_spacing", "word_outcome"):
        assert shown[name] == ""


def test_csv_without_settings_is_a_header(made: SimpleNamespace) -> None:
    text = report.csv_text(made.header(), made.empty)
    assert text.count("\r\n") == 1
    assert text.startswith("run,unit,channel,coarse_index,")


def test_json_reads_back_exactly(made: SimpleNamespace) -> None:
    text = report.json_text(made.header(), made.failing)
    data = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is not JSON"))
    assert list(data)[:5] == ["schema", "header", "verdict", "complete", "counts"]
    assert data["verdict"] == "FAIL"
    assert data["counts"] == {str(outcome): number for outcome, number in made.failing.counts}
    assert len(data["settings"]) == 924
    for kind in ("settings", "steps", "judgements", "candidates"):
        for shown, record in zip(data[kind], getattr(made.failing, kind), strict=True):
            fields = dataclasses.asdict(record)
            if kind == "judgements":
                risks = [shown.pop("consumer_risk_ratio"), shown.pop("producer_risk_ratio")]
                assert risks == [record.consumer_risk_ratio, record.producer_risk_ratio]
            assert list(shown) == list(fields)
            for name, value in shown.items():
                if isinstance(value, float | int | str) or value is None:
                    assert value == fields[name]
    first = data["settings"][0]
    assert first["setting"] == {"channel": 1, "coarse": 0, "fine": 0}
    word = made.failing.settings[0].expected_word
    assert first["expected_word"] == {"latch": "latch-1", "bits": 9, "value": word.value, "text": str(word)}
    assert data["header"]["files"][0] == {
        "role": "job",
        "path": "configs/jobs/demo.toml",
        "version": 1,
        "sha256": "0123456789abcdef" * 4,
    }
    assert data["header"]["identities"][0]["role"] == "source"
    assert "secret" not in text
    assert report.json_text(made.header(), made.failing) == text


def test_json_of_parameters_and_budgets(made: SimpleNamespace) -> None:
    data = json.loads(report.json_text(made.header(), made.metrology))
    assert data["parameters"] == [dataclasses.asdict(row) for row in made.metrology.parameters]
    assert data["budgets"] == json.loads(json.dumps([dataclasses.asdict(budget) for budget in made.metrology.budgets]))
    assert data["budgets"][0]["rows"][0]["dof"] is None
    empty = json.loads(report.json_text(made.header(), made.good))
    assert (empty["parameters"], empty["budgets"]) == ([], [])


def test_json_of_an_empty_run(made: SimpleNamespace) -> None:
    data = json.loads(report.json_text(made.header(), made.empty))
    assert (data["settings"], data["steps"], data["judgements"], data["worst"]) == ([], [], [], [])
    assert data["complete"] is False


def test_junit_has_a_case_per_channel_range_and_claim(made: SimpleNamespace) -> None:
    suite = ElementTree.fromstring(report.junit_text(made.header(), made.failing))
    cases = {(case.get("classname"), case.get("name")): case for case in suite.iter("testcase")}
    wanted = {
        (f"ch{j.setting.channel}.{made.failing.coarse_names[j.setting.coarse]}", j.item)
        for j in made.failing.judgements
    }
    assert set(cases) == wanted | {("run", "complete")}
    assert int(suite.get("tests")) == len(cases)
    for kind, attribute in (("failure", "failures"), ("error", "errors"), ("skipped", "skipped")):
        assert int(suite.get(attribute)) == len(list(suite.iter(kind)))
    relay = cases[("ch3.2V", "gain")].find("failure")
    assert relay.get("message").startswith("21 of 21: ch3 2V 100 %: gain +230 percent")
    assert len(relay.text.splitlines()) == 21
    assert cases[("ch2.50mV", "gain")].find("skipped").get("message").startswith("4 of 21: ")
    assert list(cases[("ch4.2V", "gain")]) == []
    properties = {p.get("name"): p.get("value") for p in suite.iter("property")}
    assert (properties["verdict"], properties["run"], properties["complete"]) == (
        "FAIL",
        "20261125T095957-1a2b3c4d",
        "true",
    )


def test_junit_has_residuals_by_range_and_parameters_by_channel(made: SimpleNamespace) -> None:
    suite = ElementTree.fromstring(report.junit_text(made.header(), made.metrology))
    cases = {(case.get("classname"), case.get("name")): case for case in suite.iter("testcase")}
    told = cases[("ch2", "parameter")].find("failure").get("message")
    assert told == "ch2 attenuator 1:10: off by -1.73 percent, allowed -1 to +1 percent"
    assert list(cases[("ch1", "parameter")]) == []
    assert ("ch2.20V", "parameter") not in cases
    assert cases[("ch3.200mV", "residual")].find("failure").get("message").startswith("ch3 200mV 88 %: residual")
    assert list(cases[("ch3.20V", "residual")]) == []
    assert sum(name == "residual" for _, name in cases) == 44


def test_junit_invalid_is_an_error_and_an_incomplete_run_too(made: SimpleNamespace) -> None:
    suite = ElementTree.fromstring(report.junit_text(made.header(), made.mixed))
    cases = {(case.get("classname"), case.get("name")): case for case in suite.iter("testcase")}
    error = cases[("ch2.500mV", "measurable")].find("error")
    assert error.get("message") == "2 of 2: ch2 500mV 91 %: reading invalid (up): timeout, no answer within 2 s"
    assert "incomplete" in cases[("run", "complete")].find("error").get("message")


def test_junit_of_an_empty_run_is_not_green(made: SimpleNamespace) -> None:
    suite = ElementTree.fromstring(report.junit_text(made.header(unit=AWKWARD), made.empty))
    assert (suite.get("tests"), suite.get("errors")) == ("1", "1")
    assert next(suite.iter("error")).get("message") == "no setting was run"


def test_junit_of_the_run_itself_and_of_many_reasons(made: SimpleNamespace) -> None:
    claim = made.good.judgements[0]
    station = dataclasses.replace(claim, item="station", setting=None, outcome=Outcome.INVALID, reason="load mis-set")
    many: list[Judgement] = [dataclasses.replace(claim, outcome=Outcome.FAIL, reason="") for _ in range(60)]
    result = dataclasses.replace(made.good, judgements=(*many, station))
    suite = ElementTree.fromstring(report.junit_text(made.header(), result))
    cases = {(case.get("classname"), case.get("name")): case for case in suite.iter("testcase")}
    assert cases[("run", "station")].find("error").get("message") == "load mis-set"
    lines = cases[("ch1.20V", "word")].find("failure").text.splitlines()
    assert len(lines) == 51
    assert (lines[0], lines[-1]) == ("no reason was recorded", "and 10 more")


def test_summary_of_a_good_run(made: SimpleNamespace) -> None:
    told = report.summary(made.header(), made.good, report_path="reports/x.html")
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert (told["run"], told["unit"], told["verdict"], told["complete"], told["report"]) == (
        "20261125T095957-1a2b3c4d",
        "A1",
        "PASS",
        True,
        "reports/x.html",
    )
    assert told["counts"] == {"PASS": 924, "FAIL": 0, "INCONCLUSIVE": 0, "INVALID": 0}
    assert told["settings"] == told["settings_tested"] == 924
    assert told["arithmetic_ranges"] == ["10mV"]
    assert len(told["arithmetic_settings"]) == 84
    assert all(re.fullmatch(r"ch[1-4] 10mV \d+ %", label) for label in told["arithmetic_settings"])
    assert (told["failing_settings"], told["failing_steps"], told["candidates"]) == ([], [], [])
    assert list(told["worst_residual_percent"]) == ["ch1", "ch2", "ch3", "ch4"]
    for channel, coarse, residual in made.good.worst:
        assert told["worst_residual_percent"][f"ch{channel}"][made.good.coarse_names[coarse]] == residual


def test_summary_of_a_failing_run(made: SimpleNamespace) -> None:
    told = report.summary(made.header(), made.failing, report_path="")
    failing = [row for row in made.failing.settings if row.outcome is Outcome.FAIL]
    assert told["failing_settings"] == [row.label for row in failing]
    assert len(told["failing_steps"]) == sum(step.outcome is Outcome.FAIL for step in made.failing.steps)
    assert "ch3 5V 100 % to ch3 2V 100 %" in told["failing_steps"]
    assert told["candidates"][0]["fault"] == "relay-not-picking"


def test_summary_of_fitted_parameters(made: SimpleNamespace) -> None:
    told = report.summary(made.header(), made.metrology, report_path="")
    assert told["failing_parameters"] == ["ch2 attenuator 1:10"]
    for shown, row in zip(told["parameters"], made.metrology.parameters, strict=True):
        assert list(shown) == [
            "channel", "name", "deviation_percent", "u_percent", "expanded_percent", "outcome",
        ]  # fmt: skip
        assert shown["outcome"] == (None if row.outcome is None else str(row.outcome))
        assert (shown["channel"], shown["name"]) == (row.channel, row.name)
        assert (shown["deviation_percent"], shown["u_percent"]) == (row.deviation_percent, row.u_percent)
    good = report.summary(made.header(), made.good, report_path="")
    assert (good["parameters"], good["failing_parameters"]) == ([], [])


def test_steps_and_names_without_a_row_still_have_words(made: SimpleNamespace) -> None:
    step = dataclasses.replace(
        made.good.steps[0], lower=Setting(1, 30, 1), upper=Setting(1, 0, 40), outcome=Outcome.FAIL, reason=""
    )
    result = dataclasses.replace(made.good, steps=(step,), worst=((1, 30, 0.5),))
    told = report.summary(made.header(), result, report_path="")
    assert told["failing_steps"] == ["ch1 range 30 97 % to ch1 20V fine 40"]
    assert told["worst_residual_percent"] == {"ch1": {"range 30": 0.5}}


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("form", ["html", "csv_text", "json_text", "junit_text", "summary"])
def test_a_number_that_is_not_finite_is_refused_with_its_place(made: SimpleNamespace, bad: float, form: str) -> None:
    rows = list(made.good.settings)
    rows[3] = dataclasses.replace(rows[3], noise_code=bad)
    result = dataclasses.replace(made.good, settings=tuple(rows))
    more = {"html": {"events": ()}, "summary": {"report_path": ""}}.get(form, {})
    with pytest.raises(NotFinite) as caught:
        getattr(report, form)(made.header(), result, **more)
    assert str(caught.value) == (
        f"report: settings[3].noise_code (channel 1, coarse 0, fine 3) is {bad!r}; allowed is a finite number or none; "
        "judge the run again from its record"
    )


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"worst": ((1, 0, math.nan),)}, "worst[0]"),
        ({"gain_limit_percent": (-1.0, math.inf)}, "gain_limit_percent[1]"),
        ({"step_limit_percent": (math.nan, 1.0)}, "step_limit_percent[0]"),
        ({"gain_guard_percent": math.nan}, "gain_guard_percent"),
    ],
)
def test_limits_that_are_not_finite_are_refused(made: SimpleNamespace, changes: dict[str, object], name: str) -> None:
    with pytest.raises(NotFinite, match=re.escape(f"report: {name} is ")):
        report.json_text(made.header(), dataclasses.replace(made.good, **changes))


def test_budgets_and_parameters_that_are_not_finite_are_refused(made: SimpleNamespace) -> None:
    budget = made.metrology.budgets[1]
    row = dataclasses.replace(budget.rows[2], dof=math.inf)
    parameter = dataclasses.replace(made.metrology.parameters[0], u_percent=math.nan)
    for changes, name in (
        ({"budgets": (dataclasses.replace(budget, dof=math.inf),)}, "budgets[0].dof"),
        ({"budgets": (dataclasses.replace(budget, rows=(row,)),)}, "budgets[0].rows[0].dof"),
        ({"parameters": (parameter,)}, "parameters[0].u_percent"),
    ):
        with pytest.raises(NotFinite, match=re.escape(f"report: {name} is ")):
            report.html(made.header(), dataclasses.replace(made.metrology, **changes), ())


def test_arithmetic_that_was_not_declared_or_is_partial_or_missing(made: SimpleNamespace) -> None:
    def change(row: SettingResult) -> SettingResult:
        at = row.setting
        if at.coarse == 10:
            return dataclasses.replace(row, realness=Realness.HARDWARE, arithmetic_ratio=1.0)
        if (at.channel, at.coarse) == (2, 8) and at.fine < 12:
            return dataclasses.replace(row, realness=Realness.ARITHMETIC, arithmetic_ratio=1.5)
        if (at.channel, at.coarse) == (3, 6):
            return dataclasses.replace(row, realness=Realness.MIXED, arithmetic_ratio=1.5)
        return row

    result = made.result(change)
    text = report.html(made.header(), result, ())
    assert "21 settings: the whole 200mV range on ch3; NOT declared" in text
    assert "12 of 21 in the 50mV range on ch2; NOT declared" in text
    assert "the 10mV range is declared arithmetic, but was not found so" in text
    assert report.summary(made.header(), result, report_path="")["arithmetic_ranges"] == ["200mV", "50mV"]
