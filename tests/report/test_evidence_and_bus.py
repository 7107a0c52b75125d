"""The table of evidence and the section of the bus: what they say, and that nothing is shown of nothing."""

from __future__ import annotations

import csv
import dataclasses
import io
import json

import numpy as np
import pytest

from harness import report
from harness.report.bus_section import bus_section
from harness.report.evidence import evidence_table
from harness.values import (
    BusDistance,
    BusRecord,
    BusTiming,
    Capture,
    LatchedWord,
    Realness,
    RealnessEvidence,
    WaveformFinding,
)


def finding(name, says, llr, *, met=True):
    return WaveformFinding(
        name=name, against="ch1 20V 100 % to ch1 20V 40 %", met=met, says=says, llr=llr, power_m=1.03 if met else None,
        factor=None, why="the numbers",
    )  # fmt: skip


EVIDENCE = RealnessEvidence(
    words=Realness.HARDWARE, words_why="", waveform=Realness.ARITHMETIC, waveform_why="two tests agree",
    both=Realness.FAULT, contradiction=True, confidence=0.9991, power_m=1.03, hardware_ratio=1.0, arithmetic_ratio=2.5,
    tests=(
        finding("W1", "arithmetic", -7.0), finding("W1", "cannot-tell", 0.5), finding("W2", "arithmetic", -6.25),
        finding("W3", "cannot-tell", 0.0, met=False),
    ),
)  # fmt: skip


def distance(name, least, limit, **changes):
    values = {"count": 4, "mean_ns": 210.0, "minimum_at_ns": 5, "violations": 0, "minimum_in": 7} | changes
    return BusDistance(name=name, minimum_ns=least, limit_ns=limit, **values)


BUS = BusRecord(
    channel=2, captures=12, data="data", clock="clock", clock_rising=True,
    timing=BusTiming(
        distances=(
            distance("setup", 200.0, 50.0, histogram=((200.0, 3), (240.0, 1))),
            distance("hold", 40.0, 50.0, violations=2, histogram=((40.0, 2), (80.0, 2))),
            distance("latch-width", None, 30.0, count=0, mean_ns=None, minimum_in=None),
        ),
        clock_hz=1e6, clock_limit_hz=5e6, clock_violations=0, glitches=(("data", 3), ("clock", 0)), edges=(),
        resolution_ns=1.0, sound_words=60, error_bound_ratio=0.05,
    ),
    frame=Capture(
        times_ns=np.array([100, 300, 800, 1300, 1600]), levels=np.array([1, 3, 1, 5, 1], dtype=np.uint8), initial=0,
        lines=("data", "clock", "latch"),
    ),
    word=LatchedWord(time_ns=1300, latches=("latch",), bits=1, value=1, clocks_since=1),
)  # fmt: skip


@pytest.fixture(scope="module")
def shown(made):
    made = made.result(channels=1)
    first = dataclasses.replace(made.settings[0], evidence=EVIDENCE)
    return dataclasses.replace(made, settings=(first, *made.settings[1:]), bus=(BUS,))


def test_a_setting_that_was_never_tried_has_no_evidence(shown):
    rows = tuple(dataclasses.replace(row, attempts=0) for row in shown.settings)
    assert evidence_table(dataclasses.replace(shown, settings=rows)).lines == ()


def test_the_table_of_evidence(shown):
    table = evidence_table(shown)
    assert (table.columns, len(table.lines), table.contradictions) == (("W1", "W2"), 1, 1)
    # A test that no setting's records fit, all for one reason, takes no column.
    assert table.left_out == ("W3: the numbers",)
    (line,) = table.lines
    assert (line.words, line.waveform, line.both, line.power) == ("hardware", "arithmetic", "fault", "1.03")
    told = [cell.text.replace("\N{MINUS SIGN}", "-") for cell in line.tests]
    assert told == ["arithmetic -7.0", "arithmetic -6.2"]
    assert line.tests[0].why == "ch1 20V 100 % to ch1 20V 40 %: the numbers"


def test_the_page_shows_both_sections(made, shown):
    page = report.html(made.header(), shown, ())
    assert "Words and waveform contradict at 1 setting." in page
    assert "Not met at any setting: W3: the numbers." in page
    assert '<section id="bus">' in page
    assert "word 0x1, 1 bits, taken by latch" in page
    assert "at most 0.05 of all frames are wrong, at 95 % confidence" in page
    bare = report.html(made.header(), made.result(channels=1), ())
    assert '<section id="bus">' not in bare
    assert '<section id="evidence">' not in bare


def test_the_section_of_the_bus(shown):
    section = bus_section(shown)
    assert [(line.name, line.smallest, line.margin, line.below, line.where) for line in section.lines] == [
        ("setup", "200", "+150", 0, "reading 7"),
        ("hold", "40", "-10", 2, "reading 7"),
    ]
    assert section.bounds == (
        "ch2: 12 captures, 60 sound frames, 3 glitches, fastest clock 1e+06 Hz (allowed 5e+06 Hz); "
        "at most 0.05 of all frames are wrong, at 95 % confidence.",
    )


def test_files_hold_the_evidence(made, shown):
    rows = list(csv.DictReader(io.StringIO(report.csv_text(made.header(), shown))))
    assert rows[0]["realness_by_words"] == "hardware"
    assert rows[0]["realness_by_waveform"] == "arithmetic"
    assert rows[0]["waveform_tests"] == "W1 arithmetic -7.0; W2 arithmetic -6.2; W3 not met"
    assert (rows[0]["could_tell_ratio"], rows[0]["contradiction"]) == ("1.03", "yes")
    assert rows[1]["realness_by_words"] == ""
    content = json.loads(report.json_text(made.header(), shown))
    told = content["settings"][0]["evidence"]
    assert [test["name"] for test in told["tests"]] == ["W1", "W2", "W3"]
    assert (told["waveform"], told["tests"][0]["llr"], told["tests"][0]["why"]) == ("arithmetic", -7.0, "the numbers")
    assert content["bus"][0]["timing"]["distances"][1]["violations"] == 2
    assert content["bus"][0]["frame"] is None
