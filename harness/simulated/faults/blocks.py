"""Faults of records on their way: blocks cut, unreadable or turned round, a scale that does not belong to them."""

from __future__ import annotations

from typing import Final

from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.link_fault import FIRST_RECORD, Due, Line, LinkFault

_MOST = 1000


def _is_block(answer: bytes) -> bool:
    return answer[:1] == b"#" and answer[1:2].isdigit()


def _payload_at(answer: bytes) -> int:
    """Where the payload of a definite-length block begins."""
    return 2 + int(answer[1:2])


class BlockTruncated(LinkFault):
    """A block is shorter than its header says."""

    entry = FaultEntry(
        id="I03",
        name="block-truncated",
        kind="io",
        does="the end of one block of data is missing",
        shows="fewer bytes than the header says, then a time-out",
        size="bytes that are missing; left out: half of the block",
        low=0,
        high=1.0e9,
        whole=True,
        roles=("device", "adapter"),
        default_start=FIRST_RECORD,
        seam="link",
    )

    def reply(self, due: Due, line: Line) -> Due | None:
        """Shorter."""
        del line
        at_s, answer = due
        if not (_is_block(answer) and self.struck()):
            return due
        missing = len(answer) // 2 if self.size is None else round(self.size)
        return at_s, answer[: max(len(answer) - missing, 2)]


class BlockHeaderWrong(LinkFault):
    """The header of a block is no header."""

    entry = FaultEntry(
        id="I04",
        name="block-header-wrong",
        kind="io",
        does="the length in the header of a block of data is not a number",
        shows="a header that cannot be read",
        size="headers in a row",
        default_size=1,
        high=_MOST,
        whole=True,
        roles=("device", "adapter"),
        default_start=FIRST_RECORD,
        seam="link",
    )

    def times(self) -> int:
        """As said."""
        return round(self.size or 0)

    def reply(self, due: Due, line: Line) -> Due | None:
        """Digits that are none."""
        del line
        at_s, answer = due
        if not (_is_block(answer) and self.struck()):
            return due
        place = _payload_at(answer)
        return at_s, answer[:2] + b"x" * (place - 2) + answer[place:]


class ByteOrderWrong(LinkFault):
    """The bytes of each sample are exchanged."""

    entry = FaultEntry(
        id="I05",
        name="byte-order-wrong",
        kind="io",
        does="the two bytes of each sample of a record are exchanged",
        shows="samples outside of the converter, a record like noise",
        size="records in a row",
        default_size=1,
        high=_MOST,
        whole=True,
        roles=("device",),
        default_start=FIRST_RECORD,
        seam="link",
    )

    def times(self) -> int:
        """As said."""
        return round(self.size or 0)

    def reply(self, due: Due, line: Line) -> Due | None:
        """Pairs exchanged."""
        del line
        at_s, answer = due
        if not (_is_block(answer) and self.struck()):
            return due
        place = _payload_at(answer)
        payload = bytearray(answer[place:-1])
        payload[0::2], payload[1::2] = payload[1::2], payload[0::2]
        return at_s, answer[:place] + bytes(payload) + answer[-1:]


class PreambleStale(LinkFault):
    """The scale is that of an earlier record."""

    entry = FaultEntry(
        id="I12",
        name="preamble-stale",
        kind="io",
        does="the scale that comes with a record is that of the record before",
        shows="raw codes right, volts off by one step",
        size="records in a row",
        default_size=1,
        high=_MOST,
        whole=True,
        roles=("device",),
        default_start=FIRST_RECORD,
        seam="link",
    )

    _before = b""

    def times(self) -> int:
        """As said."""
        return round(self.size or 0)

    def reply(self, due: Due, line: Line) -> Due | None:
        """The answer to the same question before."""
        at_s, answer = due
        if not line.question.strip().upper().startswith(b"FETC:SCAL"):
            return due
        stale, self._before = self._before, answer
        return (at_s, stale) if stale and self.struck() else due


FAULTS: Final[tuple[type[Fault], ...]] = (
    BlockTruncated,
    BlockHeaderWrong,
    ByteOrderWrong,
    PreambleStale,
)
