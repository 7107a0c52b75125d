"""Definite-length blocks as our simulated instruments write them; vectors and clauses in the head of the data file."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from harness.simulated.block import definite_block

FILE = Path(__file__).parent / "data" / "ieee488-blocks.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text("utf-8").splitlines() if not line.startswith("#")))
# The writer uses as few length digits as possible; rows with leading zeros are for readers.
WRITTEN = [
    row
    for row in ROWS
    if (row["kind"] == "definite" and row["valid"] == "yes" and bytes.fromhex(row["bytes_hex"])[2:3] != b"0")
    or row["length"] == "0"
]


def test_the_list_is_whole():
    assert len(ROWS) == 15
    assert len(WRITTEN) == 8


@pytest.mark.parametrize("row", WRITTEN, ids=[row["meaning"] for row in WRITTEN])
def test_the_writer_makes_the_published_bytes(row):
    message = bytes.fromhex(row["bytes_hex"])
    start, length = int(row["offset"]), int(row["length"])
    payload = message[start : start + length]
    assert len(payload) == length
    # What follows the payload in a row is the terminator, which the writer leaves to the message.
    assert definite_block(payload) == message[: start + length]


@pytest.mark.parametrize(
    ("length", "head"),
    [(9, b"#19"), (10, b"#210"), (99, b"#299"), (100, b"#3100"), (8000, b"#48000"), (100_000, b"#6100000")],
)
def test_the_head_grows_with_the_length(length, head):
    # IEEE 488.2: number of digits, then the digits.
    block = definite_block(bytes(length))
    assert block[: len(head)] == head
    assert len(block) == len(head) + length
