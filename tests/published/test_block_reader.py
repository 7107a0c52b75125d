"""Arbitrary blocks as the drivers read them from an instrument.

Vectors: data/ieee488-blocks.csv, IEEE 488.2-1992, 8.7.9 and 8.7.10 (clause numbers from memory); source in its head.
By design the drivers refuse indefinite blocks too: they end at a line feed with END, which a byte stream cannot tell
from a line feed of the payload.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.drivers.block import read_block
from harness.errors import BadReply, ReadTimeout

FILE = Path(__file__).parent / "data" / "ieee488-blocks.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text("utf-8").splitlines() if not line.startswith("#")))


class Stream:
    """A link that holds bytes; reading beyond them is a time-out, as on a stream."""

    address = "stream"

    def __init__(self, data: bytes) -> None:
        self.data = data

    def read_exactly(self, count: int) -> bytes:
        if len(self.data) < count:
            raise ReadTimeout("nothing more came", address=self.address)
        taken, self.data = self.data[:count], self.data[count:]
        return taken

    def read_line(self) -> bytes:
        line, found, rest = self.data.partition(b"\n")
        if not found:
            raise ReadTimeout("nothing more came", address=self.address)
        self.data = rest
        return line


def test_the_list_is_whole():
    assert len(ROWS) == 15
    assert sum(row["valid"] == "yes" for row in ROWS) == 11


@pytest.mark.parametrize("row", [row for row in ROWS if row["valid"] == "yes" and row["kind"] == "definite"])
def test_definite_blocks_are_read(row):
    message = bytes.fromhex(row["bytes_hex"])
    offset, length = int(row["offset"]), int(row["length"])
    payload = message[offset : offset + length]
    assert len(payload) == length
    # The vector may hold its message terminator; the line feed belongs to it either way. Another answer follows.
    stream = Stream(message[: offset + length] + b"\n" + b"next\n")
    assert read_block(stream) == payload
    assert stream.data == b"next\n"


@pytest.mark.parametrize("row", [row for row in ROWS if row["valid"] == "no" or row["kind"] == "indefinite"])
def test_the_others_raise(row):
    # A truncated block on a stream shows only as bytes that never come.
    with pytest.raises((BadReply, ReadTimeout)) as caught:
        read_block(Stream(bytes.fromhex(row["bytes_hex"])))
    truncated = "missing" in row["meaning"]
    assert isinstance(caught.value, ReadTimeout) == truncated


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"15hello\n", "it begins with b'15'; allowed: # and a count digit"),
        (b"#0abc\n", "it has an indefinite block; allowed: a definite-length block, count digit 1 to 9"),
        (b"#A5hello\n", "it has the count digit b'A'"),
        (b"#1xhello\n", "its length is b'x'; allowed: 1 decimal digits"),
        (b"#3+05hello\n", "its length is b'[+]05'; allowed: 3 decimal digits"),
        (b"#9999999999\n", "its length is 999999999 bytes; allowed: at most 64000000 bytes"),
        (b"#15hello world\n", "b' world' follows the 5 payload bytes; allowed: the line feed"),
    ],
)
def test_each_wrong_form_is_named(data, words):
    with pytest.raises(BadReply, match=words) as caught:
        read_block(Stream(data))
    assert str(caught.value).startswith("stream: an IEEE 488.2 block of the wrong form")


def test_a_carriage_return_before_the_line_feed_is_no_payload():
    assert read_block(Stream(b"#15hello\r\n")) == b"hello"


@given(st.binary(max_size=300), st.integers(min_value=3, max_value=9))
def test_any_payload_with_any_number_of_length_digits(payload, digits):
    assert read_block(Stream(f"#{digits}{len(payload):0{digits}d}".encode() + payload + b"\n")) == payload
