"""The page, parsed back: what stands there is what was handed over."""

from __future__ import annotations

import dataclasses
import itertools
import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest

from harness import report
from harness.report.words import SEVERITY
from harness.values import (
    Candidate,
    ConfigFile,
    ControlWord,
    Event,
    FlagNote,
    Identity,
    Outcome,
    Realness,
    SettingResult,
)

EVIL = "<script>alert('x')</script>\"&\x00\ud800"
VOID = {"meta", "link", "br", "img", "input", "hr", "path", "circle", "rect", "use"}


class Page(HTMLParser):
    """Text by element, tables by section, and what a browser would fetch or run."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.tables: list[list[list[str]]] = []
        self.texts: dict[str, list[str]] = {}
        self.unclosed = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.tables[-1][-1].append("")
        elif tag == "br":
            self.handle_data(" ")
        if tag not in VOID:
            self.open.append(tag)
        self.texts.setdefault(tag, []).append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        if not self.open or self.open[-1] != tag:
            self.unclosed = self.unclosed or f"</{tag}> inside {self.open[-3:]}"
        else:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open:
            self.texts[self.open[-1]][-1] += data
        if self.tables and any(tag in self.open for tag in ("td", "th")):
            self.tables[-1][-1][-1] += data

    def table(self, *heads: str) -> list[dict[str, str]]:
        """Rows by column name of the first table that has these columns."""
        for table in self.tables:
            names = [" ".join(cell.split()) for cell in table[0]]
            if set(heads) <= set(names):
                return [dict(zip(names, (" ".join(cell.split()) for cell in row), strict=True)) for row in table[1:]]
        raise LookupError(heads)


def number(text: str) -> float:
    return float(text.replace("−", "-").rstrip(" %"))


def words_of(text: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", text))


def test_all_settings_equal_the_values(pages: dict[str, str], made: SimpleNamespace) -> None:
    rows = Page(pages["failing"]).table("setting", "up/down", "tries")
    assert len(rows) == 924
    for shown, row in zip(rows, made.failing.settings, strict=True):
        assert shown["setting"] == row.label
        assert shown["outcome"] == row.outcome
        assert shown["word expected"] == str(row.expected_word)
        assert shown["captured"] == ", ".join(row.captured_words)
        assert number(shown["residual"]) == pytest.approx(row.residual_percent, abs=0.005001)
        assert number(shown["up/down"]) == pytest.approx(row.up_down_percent, abs=0.005001)
        assert number(shown["predicted codes/V"]) == pytest.approx(row.predicted_codes_per_v, rel=5.1e-5)
        assert number(shown["measured codes/V"]) == pytest.approx(row.measured_codes_per_v, rel=5.1e-5)
        assert number(shown["fill"]) == pytest.approx(100 * row.fill_ratio, abs=0.501)
        assert number(shown["offset codes"]) == pytest.approx(row.offset_code, abs=0.0501)
        assert number(shown["noise codes"]) == pytest.approx(row.noise_code, abs=0.00501)
        value, unit = shown["drive peak"].split()
        assert float(value) * {"V": 1.0, "mV": 1e-3}[unit] == pytest.approx(row.drive_vpk, rel=5.1e-4)
        assert (shown["spacing codes"], shown["tries"]) == (str(row.code_spacing), str(row.attempts))
        assert shown["found"] == ("arithmetic ×2" if row.setting.coarse == 10 else "hardware")


def test_missing_values_are_dashes(pages: dict[str, str], made: SimpleNamespace) -> None:
    rows = Page(pages["mixed"]).table("setting", "up/down", "tries")
    unread = next(row for row in rows if row["setting"] == "ch4 100mV 100 %")
    assert {unread[name] for name in ("measured codes/V", "residual", "drive peak", "fill", "spacing codes")} == {"–"}
    assert (unread["captured"], unread["tries"], unread["outcome"]) == ("–", "0", "INVALID")
    assert "None" not in words_of(pages["mixed"].split("</style>")[1])


def test_findings_list_settings_and_steps(pages: dict[str, str], made: SimpleNamespace) -> None:
    page = Page(pages["failing"])
    rows = page.table("setting", "allowed", "reason")
    wanting = [row for row in made.failing.settings if row.outcome is not Outcome.PASS]
    assert sorted(row["setting"] for row in rows) == sorted(row.label for row in wanting)
    assert [row["outcome"] for row in rows] == sorted(
        (row["outcome"] for row in rows), key=["FAIL", "INCONCLUSIVE"].index
    )
    stuck = next(row for row in rows if row["setting"] == "ch1 100mV 100 %")
    assert stuck["reason"] == "word latch-1:042; planned latch-1:052"
    assert {row["allowed"] for row in rows} == {"−2 % to +2 %"}
    steps = page.table("step", "kind", "reason")
    assert steps[0]["step"] == "ch1 200mV 100 % to 100mV 100 %"
    assert {row["allowed"] for row in steps} == {"−0.7 % to +0.7 %", "−1.5 % to +1.5 %"}


def test_at_most_two_hundred_findings_the_rest_is_counted(made: SimpleNamespace) -> None:
    def worst(row: SettingResult) -> SettingResult:
        return dataclasses.replace(row, outcome=Outcome.FAIL, reason="all of it")

    result = made.result(worst)
    failed = tuple(dataclasses.replace(step, outcome=Outcome.FAIL, reason="too") for step in result.steps)
    text = report.html(made.header(), dataclasses.replace(result, steps=failed), ())
    page = Page(text)
    assert len(page.table("setting", "allowed", "reason")) == 100
    assert len(page.table("step", "kind", "reason")) == 100
    assert "824 more: <code>gainladder report 20261125T095957-1a2b3c4d --format csv</code>" in text
    assert "1620 more: <code>gainladder report 20261125T095957-1a2b3c4d --format json</code>" in text
    assert len(text.encode()) < 2_000_000


@pytest.mark.parametrize("name", ["good", "failing", "mixed", "empty", "metrology"])
def test_a_screen_reader_finds_headings_in_order_heads_of_tables_and_names_of_figures(
    pages: dict[str, str], name: str
) -> None:
    text = pages[name]
    levels = [int(level) for level in re.findall(r"<h([1-6])\b", text)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert re.findall(r"<th(?![^>]*scope)[ >]", text) == []
    figures = re.findall(r"<svg[^>]*>", text)
    assert [tag for tag in figures if "aria-label=" not in tag and "aria-hidden" not in tag] == []
    names = re.findall(r' id="([^"]+)"', text)
    assert len(names) == len(set(names))
    assert set(re.findall(r'aria-labelledby="([^"]+)"|href="#([^"]+)"', text)) <= {
        pair for one in names for pair in ((one, ""), ("", one))
    }


def test_claims_and_worst_residuals(pages: dict[str, str], made: SimpleNamespace) -> None:
    page = Page(pages["failing"])
    claims = {row["claim"]: row for row in page.table("claim", "worst", "guard band")}
    gain = [claim for claim in made.failing.judgements if claim.item == "gain"]
    counts = [(sum(claim.outcome is outcome for claim in gain), outcome) for outcome in SEVERITY]
    assert claims["gain"]["came out"] == ", ".join(f"{count} {outcome}" for count, outcome in counts if count)
    assert (claims["gain"]["allowed"], claims["gain"]["guard band"]) == ("−2 % to +2 %", "0.44 %")
    assert (claims["word"]["allowed"], claims["word"]["guard band"]) == ("yes or no", "–")
    worst = {row["range"]: row for row in page.table("range", "ch1", "ch4")}
    for channel, coarse, residual in made.failing.worst:
        shown = worst[made.failing.coarse_names[coarse]][f"ch{channel}"]
        assert number(shown) == pytest.approx(residual, abs=0.005001)


def test_limits_that_differ_inside_a_kind_of_claim_are_not_told_as_one(made: SimpleNamespace) -> None:
    claims = [claim for claim in made.metrology.judgements if claim.item == "parameter"]
    wide = dataclasses.replace(claims[0], low=-3.0, high=3.0)
    result = dataclasses.replace(made.metrology, judgements=(wide, *claims[1:]))
    (row,) = Page(report.html(made.header(), result, ())).table("claim", "worst", "guard band")
    assert (row["allowed"], row["guard band"]) == ("by place", "0.1 %")


def test_fitted_parameters_table(pages: dict[str, str], made: SimpleNamespace) -> None:
    rows = Page(pages["metrology"]).table("parameter", "told by")
    assert len(rows) == len(made.metrology.parameters) == 12
    for shown, row in zip(rows, made.metrology.parameters, strict=True):
        assert (shown["channel"], shown["parameter"]) == (f"ch{row.channel}", row.name)
        assert number(shown["nominal"]) == pytest.approx(row.nominal, rel=5.1e-5)
        assert number(shown["estimate"]) == pytest.approx(row.estimate, rel=5.1e-5)
        assert number(shown["deviation"]) == pytest.approx(row.deviation_percent, abs=0.00051)
        assert number(shown["u"]) == pytest.approx(row.u_percent, abs=0.00051)
    outcomes = [row["outcome"] for row in rows]
    fine, off, idle = ["no limit", "PASS", "PASS"], ["no limit", "FAIL", "PASS"], ["no limit", "PASS", "not exercised"]
    assert outcomes == [*fine, *off, *fine, *idle]
    assert {row["allowed"] for row in rows} == {"–", "−1 % to +1 %"}
    assert [row["told by"] for row in rows] == ["readings"] * 11 + ["prior only"]


def test_findings_list_parameters_that_did_not_pass(pages: dict[str, str]) -> None:
    page = Page(pages["metrology"])
    (row,) = page.table("parameter", "reason")
    assert row == {
        "parameter": "ch2 attenuator 1:10",
        "outcome": "FAIL",
        "nominal": "0.10000",
        "estimate": "0.098281",
        "deviation": "−1.734 %",
        "u": "0.012 %",
        "allowed": "−1 % to +1 %",
        "reason": "off by -1.73 percent, allowed -1 to +1 percent",
    }
    (setting,) = page.table("setting", "allowed", "reason")
    assert setting["setting"] == "ch3 200mV 88 %"
    assert (setting["to fitted law"], setting["U"], setting["TUR"]) == ("+0.90 %", "0.49 %", "4.1")


def test_findings_show_margin_words_and_both_gains(pages: dict[str, str], made: SimpleNamespace) -> None:
    margins = {claim.setting: claim.margin for claim in made.failing.judgements if claim.item == "gain"}
    by_label = {row.label: row for row in made.failing.settings}
    for shown in Page(pages["failing"]).table("setting", "allowed", "reason"):
        row = by_label[shown["setting"]]
        assert number(shown["margin"]) == pytest.approx(margins[row.setting], abs=0.005001)
        assert shown["word expected, captured"].replace(" ", "") == str(row.expected_word) + "".join(row.captured_words)
        predicted = shown["gain predicted, measured codes/V"]
        assert float(predicted[: len(predicted) // 2]) == pytest.approx(row.predicted_codes_per_v, rel=0.01)


def test_columns_without_a_value_are_left_out(pages: dict[str, str]) -> None:
    more = {"U", "TUR", "to fitted law", "own U", "flags"}
    for name, shown in (("failing", set()), ("metrology", more)):
        (head,) = [set(row) for row in Page(pages[name]).table("setting", "up/down", "tries")[:1]]
        assert head & more == shown
    for text in ("Fitted parameters", "Uncertainty budget", "U of gain"):
        assert text in words_of(pages["metrology"])
        assert text not in words_of(pages["failing"])


def test_uncertainty_of_every_setting(pages: dict[str, str], made: SimpleNamespace) -> None:
    rows = Page(pages["metrology"]).table("setting", "up/down", "tries")
    for shown, row in zip(rows, made.metrology.settings, strict=True):
        assert number(shown["U"]) == pytest.approx(row.expanded_percent, abs=0.00501)
        assert number(shown["own U"]) == pytest.approx(row.own_percent, abs=0.000501)
        assert number(shown["TUR"]) == pytest.approx(row.tur_ratio, abs=0.0501)
        assert number(shown["to fitted law"]) == pytest.approx(row.fitted_percent, abs=0.00501)
        assert shown["flags"] == ", ".join(row.flags)


def test_flags_of_the_run_are_said_in_words(made: SimpleNamespace) -> None:
    note = FlagNote(name="low-noise", settings=3, example="ch1 2V 100 %: noise 0.10 code steps")
    text = report.html(made.header(), dataclasses.replace(made.metrology, flags=(note,)), ())
    (row,) = Page(text).table("flag", "settings", "the first of them")
    assert (row["flag"], row["settings"], row["the first of them"]) == ("low-noise", "3", note.example)
    assert "Remarkable readings" not in report.html(made.header(), made.metrology, ())


def test_flags_stand_beside_the_reason(made: SimpleNamespace) -> None:
    row = dataclasses.replace(
        made.metrology.settings[0], outcome=Outcome.FAIL, reason="off", flags=("hum", "low-noise")
    )
    text = report.html(made.header(), dataclasses.replace(made.metrology, settings=(row,)), ())
    (shown,) = Page(text).table("setting", "allowed", "reason")
    assert "off" in text
    assert "Flags: hum, low-noise." in words_of(text)
    assert shown["reason"].startswith("off")


def test_one_budget_table_a_group(pages: dict[str, str], made: SimpleNamespace) -> None:
    page = Page(pages["metrology"])
    tables = [table for table in page.tables if table[0][0] == "contribution"]
    assert [text for text in page.texts["caption"] if " to " in text] == [b.group for b in made.metrology.budgets]
    for table, budget in zip(tables, made.metrology.budgets, strict=True):
        for shown, row in zip(table[1:4], budget.rows, strict=True):
            assert shown[:2] == [row.name, row.kind]
            assert shown[2].replace("\u00a0", " ") == row.stated
            assert float(shown[3]) == pytest.approx(row.standard_percent, abs=0.00051)
            assert shown[4] == ("∞" if row.dof is None else f"{row.dof:.0f}")
            assert float(shown[5]) == pytest.approx(row.share_percent, abs=0.051)
        sums = {row[0]: float(row[1]) for row in table[4:8]}
        wanted = {
            "common to all readings": budget.common_percent,
            "of each reading": budget.own_percent,
            "combined, absolute gain": budget.standard_percent,
            "expanded U, k = 2": budget.expanded_percent,
        }
        assert sums == pytest.approx(wanted, abs=0.00051)
        assert table[6][2] == "6187"
        assert table[8] == ["Terminator taken as 50 ohm."]


def test_a_page_with_everything_wrong_and_everything_known_is_light(made: SimpleNamespace) -> None:
    known = made.metrology
    rows = tuple(dataclasses.replace(row, outcome=Outcome.FAIL, reason="all of it") for row in known.settings)
    failed = tuple(dataclasses.replace(step, outcome=Outcome.FAIL, reason="too") for step in known.steps)
    text = report.html(made.header(), dataclasses.replace(known, settings=rows, steps=failed), ())
    assert len(text.encode()) < 2_000_000


def test_instruments_files_and_journal(pages: dict[str, str]) -> None:
    page = Page(pages["good"])
    assert page.table("role", "manufacturer")[0] == {
        "role": "source",
        "manufacturer": "Machair",
        "model": "SG-1",
        "serial": "S100",
        "firmware": "1.2",
    }
    files = page.table("role", "file", "version")
    assert (files[1]["file"], files[1]["version"]) == ("configs/limits/skerry-hr-4.toml", "3")
    assert files[0]["SHA-256, first 12"] == "0123456789ab"
    assert page.table("time", "kind", "what")[2] == {
        "time": "2026-11-25 10:02:00 UTC",
        "kind": "note",
        "what": "line 2",
    }
    assert "secret" not in pages["good"]


def test_a_long_journal_is_cut_and_counted(made: SimpleNamespace) -> None:
    text = report.html(made.header(), made.empty, made.events(512))
    assert "12 more are in the record." in text
    assert len(Page(text).table("time", "kind", "what")) == 500


def test_nothing_is_fetched_and_nothing_runs(pages: dict[str, str]) -> None:
    for text in pages.values():
        page = Page(text)
        assert "script" not in {tag for tag, _ in page.tags}
        assert "link" not in {tag for tag, _ in page.tags}
        for tag, attributes in page.tags:
            assert not [name for name in attributes if name.startswith("on")], tag
            for name in ("src", "href", "xlink:href", "action"):
                where = attributes.get(name)
                assert where is None or where.startswith(("#", "data:text/csv", "data:application/json")), (tag, where)
        style = text[text.index("<style>") : text.index("</style>")]
        assert "url(" not in style
        assert "@import" not in style


def test_structure(pages: dict[str, str]) -> None:
    for text in pages.values():
        page = Page(text)
        assert (page.unclosed, page.open) == ("", [])
        levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
        names = [attributes["id"] for _, attributes in page.tags if attributes.get("id")]
        assert len(names) == len(set(names))
        targets = {a["href"][1:] for tag, a in page.tags if tag == "a" and (a.get("href") or "").startswith("#")}
        assert targets <= set(names)
        used = {a["xlink:href"][1:] for _, a in page.tags if a.get("xlink:href")}
        assert used <= set(names)
        assert all(a.get("scope") in ("col", "row") for tag, a in page.tags if tag == "th")
        assert dict(page.tags)["html"] == {"lang": "en"}
        for tag, attributes in page.tags:
            if tag == "svg":
                assert attributes.get("aria-label") or attributes.get("aria-hidden") == "true"


def test_figures_have_captions(pages: dict[str, str]) -> None:
    assert pages["failing"].count("<figcaption>") == pages["failing"].count("<figure>") == 9
    assert "<figure>" not in pages["empty"]
    assert "There is nothing to draw." in pages["empty"]


def test_the_page_is_light(pages: dict[str, str]) -> None:
    assert max(len(text.encode()) for text in pages.values()) < 2_000_000


def test_csv_is_inside_and_large_json_by_command(pages: dict[str, str], made: SimpleNamespace) -> None:
    import base64

    page = Page(pages["good"])
    links = {a["download"]: a["href"] for tag, a in page.tags if tag == "a" and a.get("download")}
    assert list(links) == ["20261125T095957-1a2b3c4d.csv"]
    inside = base64.b64decode(links["20261125T095957-1a2b3c4d.csv"].split(",", 1)[1]).decode()
    assert inside == report.csv_text(made.header(), made.good)
    assert "JSON is too large for this page: gainladder report 20261125T095957-1a2b3c4d --format json" in words_of(
        pages["good"]
    )


def test_names_are_escaped_everywhere(made: SimpleNamespace) -> None:
    row = made.small.settings[0]
    bad = dataclasses.replace(
        row,
        label=EVIL,
        outcome=Outcome.FAIL,
        reason=EVIL,
        expected_word=ControlWord(EVIL, 9, 1),
        captured_words=(EVIL,),
        realness=Realness.ARITHMETIC,
        attempts=1,
        residual_percent=99.0,
        flags=(EVIL,),
    )
    line = dataclasses.replace(made.metrology.budgets[0].rows[0], name=EVIL, kind=EVIL, stated=EVIL)
    step = dataclasses.replace(made.small.steps[0], outcome=Outcome.FAIL, reason=EVIL)
    result = dataclasses.replace(
        made.small,
        settings=(bad, *made.small.settings[1:]),
        steps=(step, *made.small.steps[1:]),
        candidates=(Candidate(fault=EVIL, why=EVIL, test=EVIL),),
        coarse_names=(EVIL, "$x^$ \\frac 模", *made.small.coarse_names[2:]),
        fine_names=(EVIL, *made.small.fine_names[1:]),
        notes=(EVIL,),
        judgements=tuple(dataclasses.replace(j, item=EVIL, unit=EVIL) for j in made.small.judgements[:2]),
        parameters=tuple(dataclasses.replace(p, name=EVIL, reason=EVIL) for p in made.metrology.parameters),
        budgets=(dataclasses.replace(made.metrology.budgets[0], group=EVIL, rows=(line,), notes=(EVIL,)),),
    )
    who = Identity(manufacturer=EVIL, model=EVIL, serial=EVIL, firmware=EVIL)
    file = ConfigFile(role=EVIL, path=EVIL, version=1, sha256=EVIL, text="")
    names = {"unit": EVIL, "operator": EVIL, "run_id": EVIL, "software": EVIL, "mode": EVIL, "started_utc": EVIL}
    header = made.header(identities=((EVIL, who), ("device", who)), files=(file,), faults=(EVIL,), **names)
    text = report.html(header, result, (Event(at_utc=EVIL, at_s=0.0, kind=EVIL, text=EVIL),))
    page = Page(text)
    assert "<script" not in text
    assert page.unclosed == ""
    assert "script" not in {tag for tag, _ in page.tags}
    assert not [name for _, attributes in page.tags for name in attributes if name.startswith("on")]
    assert "&lt;script&gt;alert(" in text
    assert "\x00" not in text
    text.encode("utf-8")


def test_same_input_same_bytes(made: SimpleNamespace) -> None:
    once, again = (report.html(made.header(), made.small, made.events()) for _ in range(2))
    assert once == again


def test_same_bytes_in_another_process(pages: dict[str, str]) -> None:
    """Another hash seed, another order of first use: nothing of it may show."""
    code = (
        "import importlib.util, sys; "
        "spec = importlib.util.spec_from_file_location('builder', sys.argv[1]); "
        "b = importlib.util.module_from_spec(spec); spec.loader.exec_module(b); "
        "from harness import report; "
        "sys.stdout.buffer.write(report.html(b.header(), b.failing_result(), b.events()).encode())"
    )
    builder = Path(__file__).with_name("conftest.py")
    environment = {**os.environ, "PYTHONHASHSEED": "7"}
    done = subprocess.run(
        [sys.executable, "-c", code, str(builder)],
        capture_output=True,
        check=True,
        env=environment,
        cwd=builder.parents[2],
    )
    assert done.stdout.decode() == pages["failing"]


def test_no_figure_brings_a_rule_for_the_rest_of_the_page(pages: dict[str, str]) -> None:
    """A rule of the plotting library for all lines took the round ends, and so the dots, of the other figures."""
    for page in pages.values():
        body = page[page.index("<body>") :]
        assert "<style" not in body
    assert 'stroke-linecap="butt"' in pages["good"]
    assert 'stroke-linecap="round"' in pages["good"]
