"""The page of a run of thousands of settings: cells that look alike are one, dots are one path, tables are cut."""

from __future__ import annotations

import base64
import dataclasses
import gzip
import re
from types import SimpleNamespace

import pytest

from harness import report
from harness.report import downloads, evidence, page
from harness.report.evidence import evidence_table
from harness.report.figures import canvas, realness_grids, residual_svg
from harness.report.figures.grid import MANY, NARROW
from harness.values import Outcome, Realness, RealnessEvidence, RunResult, Setting


def test_a_run_without_a_gain_draws_nothing_and_says_why(made: SimpleNamespace) -> None:
    empty = {"measured_codes_per_v": None, "residual_percent": None, "up_down_percent": None, "noise_code": None}
    empty |= {"outcome": Outcome.INVALID, "offset_code": None, "realness": Realness.UNPROVEN}
    for attempts, said in ((2, "the readings that were made are all INVALID"), (0, "the run ended before its first")):
        rows = tuple(dataclasses.replace(row, attempts=attempts, **empty) for row in made.small.settings)
        result = dataclasses.replace(made.small, settings=rows, steps=(), verdict=Outcome.INVALID)
        text = report.html(made.header(), result, ())
        assert f"No setting has a measured gain, so there is nothing to draw: {said}" in text
        assert "<svg" not in text[text.index('id="figures"') : text.index('id="findings"')]
        lot = report.lot_html([(made.header(), result)], ())
        assert "No setting of these units has a measured gain." in lot
        assert "All settings of the unit<" in lot


def many(made: SimpleNamespace, count: int) -> RunResult:
    """One range of many fine positions; the tenth of them failed, all behind it are arithmetic."""
    row = dataclasses.replace(made.small.settings[0], realness=Realness.HARDWARE, arithmetic_ratio=1.0)
    rows = tuple(
        dataclasses.replace(
            row,
            setting=Setting(1, 0, fine),
            label=f"ch1 20V {fine}",
            realness=Realness.HARDWARE if fine < 10 else Realness.ARITHMETIC,
            outcome=Outcome.FAIL if fine == 9 else Outcome.PASS,
        )
        for fine in range(count)
    )
    return dataclasses.replace(made.small, settings=rows, fine_names=tuple(str(fine) for fine in range(count)))


def test_neighbours_that_look_alike_are_one_cell(made: SimpleNamespace) -> None:
    (grid,) = realness_grids(many(made, 4 * MANY))
    width = NARROW // 4
    assert [(cell.kind, cell.width) for cell in grid.cells] == [
        ("hardware", 10 * width), ("arithmetic", (4 * MANY - 10) * width),
    ]  # fmt: skip
    assert grid.cells[0].title == "ch1 20V 0: hardware … ch1 20V 9: hardware"
    assert [cell.letter for cell in grid.cells] == ["H", "A"]
    (few,) = realness_grids(many(made, MANY))
    assert len(few.cells) == MANY
    assert {cell.width for cell in few.cells} == {NARROW}


def test_many_dots_are_one_path_at_their_places(made: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> None:
    plain = residual_svg(made.good)
    monkeypatch.setattr(canvas, "MANY_MARKS", 10)
    packed = residual_svg(made.good)
    assert packed == residual_svg(made.good)
    assert len(packed) < 0.6 * len(plain)
    # Each filled round mark of the plain figure is a dot of the packed one, in the same order to a tenth.
    uses = re.findall(r'<g style="fill: #\w+">((?:<use [^>]*/>)+)</g>', plain)
    wanted = [(float(x), float(y)) for group in uses for x, y in re.findall(r' x="([^"]*)" y="([^"]*)"', group)]
    got = [(float(x), float(y)) for x, y in re.findall(r"M(\S+) (\S+)h0", packed)]
    assert len(got) == len(wanted) > 900
    off = [abs(a - b) for one, other in zip(got, wanted, strict=True) for a, b in zip(one, other, strict=True)]
    assert max(off) < 0.06
    assert packed.count('stroke-linecap="round"') >= len(uses)


def test_a_long_table_of_evidence_shows_what_is_worth_a_look(
    made: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    alike = RealnessEvidence(
        words=Realness.HARDWARE, words_why="", waveform=Realness.HARDWARE, waveform_why="", both=Realness.HARDWARE,
        contradiction=False, confidence=0.99, power_m=1.1, hardware_ratio=1.0, arithmetic_ratio=1.0,
    )  # fmt: skip
    odd = dataclasses.replace(alike, waveform=Realness.ARITHMETIC, both=Realness.FAULT, contradiction=True)
    rows = tuple(
        dataclasses.replace(row, evidence=odd if index == 7 else alike)
        for index, row in enumerate(made.small.settings)
    )
    result = dataclasses.replace(made.small, settings=rows)
    assert (len(evidence_table(result).lines), evidence_table(result).alike) == (len(rows), 0)
    monkeypatch.setattr(evidence, "MOST_LINES", 50)
    table = evidence_table(result)
    assert [line.label for line in table.lines] == [rows[7].label]
    assert (table.alike, table.contradictions) == (len(rows) - 1, 1)
    text = report.html(made.header(), result, ())
    assert f"Not in the table: {len(rows) - 1} settings of which words and waveform say the same" in text


def test_json_that_is_too_large_is_compressed(made: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(downloads, "MOST_DATA_BYTES", 100_000)
    small = many(made, 30)
    _, json_file = downloads.downloads(made.header(), dataclasses.replace(made.small, settings=small.settings))
    assert (json_file.form, json_file.name) == ("json.gz", "20261125T095957-1a2b3c4d.json.gz")
    packed = gzip.decompress(base64.b64decode(json_file.href.removeprefix("data:application/gzip;base64,")))
    content = report.json_text(made.header(), dataclasses.replace(made.small, settings=small.settings))
    assert packed.decode() == content


def test_a_long_run_leaves_its_data_to_the_command(made: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (downloads, page):
        monkeypatch.setattr(module, "MOST_SETTINGS", 50)
    text = report.html(made.header(), made.small, ())
    assert f"{len(made.small.settings)} settings are too many for a table here: take the CSV file." in text
    assert "Save as" not in text
    assert "<code>gainladder report 20261125T095957-1a2b3c4d --format csv</code>" in text
