"""Error and event numbers of SCPI-1999, vol. 2, 21.8, event bits of IEEE 488.2 (published; see the data file)."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from harness.simulated.error_list import TEXTS, event_bit
from harness.simulated.status import Status

FILE = Path(__file__).parent / "data" / "scpi-errors.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text("utf-8").splitlines() if not line.startswith("#")))
PUBLISHED = {int(row["code"]): row for row in ROWS}
# Weights of the standard event status register, IEEE 488.2 (published).
WEIGHTS = {"command": 32, "execution": 16, "device": 8, "query": 4, "power on": 128, "user request": 64,
           "request control": 2, "operation complete": 1, "none": 0}  # fmt: skip


def test_the_list_is_whole():
    assert len(PUBLISHED) == len(ROWS) == 122


@pytest.mark.parametrize("code", sorted(TEXTS))
def test_every_code_we_use_is_published_with_this_text(code):
    assert TEXTS[code] == PUBLISHED[code]["text"]


@pytest.mark.parametrize("code", sorted(PUBLISHED))
def test_event_bit_of_every_published_code(code):
    row = PUBLISHED[code]
    bit = event_bit(code)
    assert bit == (int(row["esr_bit"]) if row["esr_bit"] else None)
    assert (0 if bit is None else 1 << bit) == WEIGHTS[row["class"]]


@pytest.mark.parametrize("code", sorted(set(TEXTS) - {0}))
def test_reporting_sets_the_event_and_the_queue_bit(code):
    status = Status()
    status.clear()
    status.report(code, "here")
    assert status.byte(message_available=False) == 4
    assert status.take_events() == WEIGHTS[PUBLISHED[code]["class"]]
    assert status.next_error() == f'{code},"{PUBLISHED[code]["text"]};here"'
    assert status.next_error() == '0,"No error"'
