"""Definite-length blocks of IEEE 488.2 over a link: header first, then exactly as many bytes as it says."""

from __future__ import annotations

from harness.bench import Link
from harness.errors import BadReply

LARGEST_BYTES = 64_000_000
"""A longer length is taken for a garbled header."""


def read_block(link: Link) -> bytes:
    """Read one block and the line feed behind it.

    The payload may hold any byte, line feeds included. Indefinite blocks (`#0`) end at a line feed that the payload may
    hold as well; they are refused.
    """
    start = link.read_exactly(2)
    if start[:1] != b"#":
        raise _wrong(link, f"it begins with {start!r}", "# and a count digit")
    if not b"1" <= start[1:] <= b"9":
        kind = "an indefinite block" if start[1:] == b"0" else f"the count digit {start[1:]!r}"
        raise _wrong(link, f"it has {kind}", "a definite-length block, count digit 1 to 9")
    count = int(start[1:])
    length = _length(link, link.read_exactly(count), count)
    payload = link.read_exactly(length) if length else b""
    _check_end(link, link.read_line(), length)
    return payload


def read_answers_and_block(link: Link) -> tuple[bytes, bytes | None]:
    """Read a line of answers whose last may be a block; the text before the block, and its payload.

    No block in the line: all of it is text, and the payload is None. The payload may hold any byte: what is taken for
    the end of the line may lie inside of it.
    """
    line = link.read_line()
    start = _block_in(line)
    if start is None:
        return line, None
    count = int(line[start + 1 : start + 2])
    body = start + 2 + count
    length = _length(link, line[start + 2 : body], count)
    payload = line[body:]
    if len(payload) < length:
        payload += b"\n"  # a byte of the payload, and not the end of the line
        payload += link.read_exactly(length - len(payload))
        payload += link.read_line()
    _check_end(link, payload[length:], length)
    return line[:start].rstrip(b";"), payload[:length]


def _length(link: Link, digits: bytes, count: int) -> int:
    """What the header says, bytes."""
    if len(digits) != count or not digits.isdigit():
        raise _wrong(link, f"its length is {digits!r}", f"{count} decimal digits")
    length = int(digits)
    if length > LARGEST_BYTES:
        raise _wrong(link, f"its length is {length} bytes", f"at most {LARGEST_BYTES} bytes")
    return length


def _check_end(link: Link, tail: bytes, length: int) -> None:
    """Demand the end of the line behind the payload."""
    tail = tail.rstrip(b"\r")
    if tail:
        raise _wrong(link, f"{tail[:20]!r} follows the {length} payload bytes", "the line feed")


def _block_in(line: bytes) -> int | None:
    """Where the header of a block begins: behind a semicolon outside of quotes, or at the start."""
    place = line.find(b"#")
    while place >= 0:
        if (place == 0 or line[place - 1] == ord(";")) and line.count(b'"', 0, place) % 2 == 0:
            return place if b"1" <= line[place + 1 : place + 2] <= b"9" else None
        place = line.find(b"#", place + 1)
    return None


def _wrong(link: Link, got: str, allowed: str) -> BadReply:
    return BadReply(f"an IEEE 488.2 block of the wrong form: {got}; allowed: {allowed}", address=link.address)
