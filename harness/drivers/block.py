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
    digits = link.read_exactly(int(start[1:]))
    if not digits.isdigit():
        raise _wrong(link, f"its length is {digits!r}", f"{len(digits)} decimal digits")
    length = int(digits)
    if length > LARGEST_BYTES:
        raise _wrong(link, f"its length is {length} bytes", f"at most {LARGEST_BYTES} bytes")
    payload = link.read_exactly(length) if length else b""
    tail = link.read_line().rstrip(b"\r")
    if tail:
        raise _wrong(link, f"{tail[:20]!r} follows the {length} payload bytes", "the line feed")
    return payload


def _wrong(link: Link, got: str, allowed: str) -> BadReply:
    return BadReply(f"an IEEE 488.2 block of the wrong form: {got}; allowed: {allowed}", address=link.address)
