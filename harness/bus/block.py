"""The adapter's answer to FETCH? to a capture; the protocol is in README.md beside this file."""

from __future__ import annotations

import struct
import zlib

import numpy as np

from harness.errors import CaptureError
from harness.values import Capture

MAGIC, SUMMED = b"GLC1", b"GLC2"
"""Without and with a CRC-32 of everything before at the end."""
SUM_BYTES = 4
HEAD = struct.Struct("<4sIII")


def read_block(content: bytes, lines: tuple[str, ...]) -> Capture:
    """What the adapter kept.

    Args:
        content: the payload of the block, without its IEEE 488.2 head; with it is taken as well.
        lines: names of the adapter's inputs in bit order, 1 to 8.
    Returns:
        the capture, times in ns since the arming.
    Raises:
        CaptureError: no such block, one that is shorter or longer than it says, or one with another check sum.
    Source:
        README.md beside this file.
    """
    if content[:1] == b"#" and content[1:2].isdigit() and content[1:2] != b"0":
        digits = int(content[1:2])
        length = content[2 : 2 + digits]
        if not length.isdigit() or len(content) - 2 - digits not in (int(length), int(length) + 1):
            raise CaptureError(
                f"adapter block: {len(content) - 2 - digits} bytes after a head that announces {length!r}; "
                "allowed is the length announced: is the file whole?"
            )
        content = content[2 + digits : 2 + digits + int(length)]
    if len(content) < HEAD.size or content[:4] not in (MAGIC, SUMMED):
        raise CaptureError(
            f"adapter block: begins with {content[:4]!r}; allowed is {MAGIC!r} or {SUMMED!r} and a head of 16 bytes"
        )
    if content[:4] == SUMMED:
        content, told = content[:-SUM_BYTES], int.from_bytes(content[-SUM_BYTES:], "little")
        if len(content) < HEAD.size or zlib.crc32(content) != told:
            raise CaptureError(
                f"adapter block: check sum {zlib.crc32(content):08x}; allowed is the {told:08x} at its end: "
                "fetch it again"
            )
    _, dropped, initial, count = HEAD.unpack_from(content)
    if len(content) != HEAD.size + 8 * count:
        raise CaptureError(
            f"adapter block: {len(content)} bytes; allowed are {HEAD.size + 8 * count} for {count} events: is it whole?"
        )
    events = np.frombuffer(content, dtype="<u8", offset=HEAD.size)
    return Capture(
        times_ns=(events >> np.uint64(8)).astype(np.int64),
        levels=(events & np.uint64(0xFF)).astype(np.uint8),
        initial=initial & 0xFF,
        lines=lines,
        dropped=dropped,
    )
