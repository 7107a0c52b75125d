"""All settings for paper: a block for each range, columns of one width, what did not pass stands out."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import pytest

from harness import report
from harness.report import tables
from harness.report.paper import SAME, PaperTable, paper_table
from harness.values import Outcome, Realness, RealnessEvidence, RunResult


def table_of(result: RunResult) -> PaperTable:
    return paper_table(result, tables.setting_lines(result.settings, result), tables.columns(result))


def test_each_setting_is_one_line_below_the_name_of_its_range(made: SimpleNamespace) -> None:
    result = made.failing
    table = table_of(result)
    ranges = list(dict.fromkeys(row.label.rsplit(" ", 2)[0] for row in result.settings))
    assert [" ".join(block.head.split()[:2]) for block in table.blocks] == ranges
    lines = [pair for block in table.blocks for pair in block.rows]
    assert [bad for _, bad in lines] == [row.outcome is not Outcome.PASS for row in result.settings]
    told = tables.setting_lines(result.settings, result)
    for (text, _), line in zip(lines, told, strict=True):
        assert f" {line.expected} " in text
        assert f" {line.residual} " in text
        captured = text.split(f" {line.expected} ")[1].split("  ")
        assert next(filter(None, captured)).strip() == (SAME if line.captured == line.expected else line.captured)
    # One width for all, or a column would not be one.
    assert {len(text.rstrip()) <= table.letters == len(text) for text, _ in lines} == {True}
    assert {len(block.head) for block in table.blocks} == {table.letters}


def test_columns_without_a_value_are_left_out_and_no_settings_make_no_table(made: SimpleNamespace) -> None:
    rows = tuple(dataclasses.replace(row, figures=None, flags=(), tur_ratio=None) for row in made.small.settings)
    result = dataclasses.replace(made.small, settings=rows)
    head = table_of(result).blocks[0].head
    assert not {"SINAD", "ENOB", "TUR", "flags"} & set(head.split())
    flagged = dataclasses.replace(result, settings=(dataclasses.replace(rows[0], flags=("clip",)), *rows[1:]))
    assert table_of(flagged).blocks[0].head.endswith(" flags")
    assert paper_table(result, (), tables.columns(result)) == PaperTable(blocks=(), letters=0)


@pytest.mark.parametrize(("odd", "said"), [(0, "Words and waveform say the same of each of"), (2, "Left out on paper")])
def test_on_paper_the_evidence_shows_what_is_worth_a_look(made: SimpleNamespace, odd: int, said: str) -> None:
    alike = RealnessEvidence(
        words=Realness.HARDWARE, words_why="", waveform=Realness.HARDWARE, waveform_why="", both=Realness.HARDWARE,
        contradiction=False, confidence=0.99, power_m=1.1, hardware_ratio=1.0, arithmetic_ratio=1.0,
    )  # fmt: skip
    rows = tuple(
        dataclasses.replace(row, evidence=dataclasses.replace(alike, contradiction=index < odd))
        for index, row in enumerate(made.small.settings)
    )
    text = report.html(made.header(), dataclasses.replace(made.small, settings=rows), ())
    section = text[text.index('id="evidence"') : text.index('id="appendix"')]
    assert said in section
    assert section.count('<tr class="screen">') == len(rows) - odd
    assert ('<details class="screen">' in section) == (odd == 0)
