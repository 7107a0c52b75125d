"""The adapter's block: hand-made bytes."""

from __future__ import annotations

import struct
import zlib

import pytest

from harness.bus.block import read_block
from harness.errors import CaptureError

LINES = ("data", "clock", "latch")
EVENTS = ((100, 1), (120, 3), (2**40, 0))
PAYLOAD = struct.pack("<4sIII", b"GLC1", 7, 4, 3) + b"".join(struct.pack("<Q", t << 8 | level) for t, level in EVENTS)


@pytest.mark.parametrize("content", [PAYLOAD, b"#240" + PAYLOAD, b"#240" + PAYLOAD + b"\n", b"#3040" + PAYLOAD])
def test_block_with_and_without_its_head(content):
    capture = read_block(content, LINES)
    assert capture.times_ns.tolist() == [100, 120, 2**40]
    assert capture.levels.tolist() == [1, 3, 0]
    assert (capture.initial, capture.dropped, capture.lines) == (4, 7, LINES)


# CRC-32 of "123456789" is cbf43926 in every table of check sums; here of the block without its last four bytes.
def test_a_block_with_its_check_sum():
    assert zlib.crc32(b"123456789") == 0xCBF43926
    summed = b"GLC2" + PAYLOAD[4:]
    summed += struct.pack("<I", zlib.crc32(summed))
    assert read_block(summed, LINES).times_ns.tolist() == [100, 120, 2**40]


def test_every_flipped_bit_is_seen():
    summed = b"GLC2" + PAYLOAD[4:]
    summed += struct.pack("<I", zlib.crc32(summed))
    for bit in range(8 * len(summed)):
        flipped = bytearray(summed)
        flipped[bit // 8] ^= 1 << bit % 8
        with pytest.raises(CaptureError, match="adapter block: "):
            read_block(bytes(flipped), LINES)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "begins with b''; allowed is b'GLC1' or b'GLC2' and a head of 16 bytes"),
        (b"GLC3" + PAYLOAD[4:], "begins with b'GLC3'"),
        (PAYLOAD[:10], "allowed is b'GLC1' or b'GLC2' and a head of 16 bytes"),
        (b"GLC2" + bytes(12) + b"\x01\x02\x03\x04", "check sum eacf1d0d; allowed is the 04030201 at its end"),
        (b"GLC2" + PAYLOAD[4:20], "check sum"),
        (PAYLOAD[:-1], "39 bytes; allowed are 40 for 3 events: is it whole?"),
        (PAYLOAD + b"12345678", "48 bytes; allowed are 40"),
        (b"#240" + PAYLOAD[:-2], "38 bytes after a head that announces b'40'"),
        (b"#2xx" + PAYLOAD, "after a head that announces b'xx'"),
    ],
)
def test_what_is_no_block_is_refused(content, words):
    with pytest.raises(CaptureError, match=words.replace("?", r"\?")):
        read_block(content, LINES)
