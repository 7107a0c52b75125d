"""Faults of records on their way: blocks cut, unreadable or turned round, a scale that does not belong to them."""

from __future__ import annotations

from typing import Final

from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.link_fault import FIRST_RECORD, Due, Line, LinkFault, RepeatedLinkFault, repeated

_HEAD_BYTES = 1000
"""Answers before a block take less."""


def _block_at(answer: bytes) -> int | None:
    """Where a definite-length block begins, which may be the last of several answers."""
    head = answer[:_HEAD_BYTES]
    start = 0 if head[:1] == b"#" else head.find(b";#") + 1
    return start if head[start : start + 1] == b"#" and head[start + 1 : start + 2].isdigit() else None


def _payload_at(answer: bytes, start: int) -> int:
    """Where the payload of that block begins."""
    return start + 2 + int(answer[start + 1 : start + 2])


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
        start = _block_at(answer)
        if start is None or not self.struck():
            return due
        missing = (len(answer) - start) // 2 if self.size is None else round(self.size)
        return at_s, answer[: max(len(answer) - missing, start + 2)]


class BlockHeaderWrong(RepeatedLinkFault):
    """The header of a block is no header."""

    entry = repeated(
        "I04",
        "block-header-wrong",
        does="the length in the header of a block of data is not a number",
        shows="a header that cannot be read",
        what="headers",
        roles=("device", "adapter"),
    )

    def reply(self, due: Due, line: Line) -> Due | None:
        """Digits that are none."""
        del line
        at_s, answer = due
        start = _block_at(answer)
        if start is None or not self.struck():
            return due
        place = _payload_at(answer, start)
        return at_s, answer[: start + 2] + b"x" * (place - start - 2) + answer[place:]


class ByteOrderWrong(RepeatedLinkFault):
    """The bytes of each sample are exchanged."""

    entry = repeated(
        "I05",
        "byte-order-wrong",
        does="the two bytes of each sample of a record are exchanged",
        shows="samples outside of the converter, a record like noise",
        what="records",
        roles=("device",),
    )

    def reply(self, due: Due, line: Line) -> Due | None:
        """Pairs exchanged."""
        del line
        at_s, answer = due
        start = _block_at(answer)
        if start is None or not self.struck():
            return due
        place = _payload_at(answer, start)
        payload = bytearray(answer[place:-1])
        payload[0::2], payload[1::2] = payload[1::2], payload[0::2]
        return at_s, answer[:place] + bytes(payload) + answer[-1:]


class PreambleStale(RepeatedLinkFault):
    """The scale is that of an earlier record."""

    entry = repeated(
        "I12",
        "preamble-stale",
        does="the scale that comes with a record is that of the record before",
        shows="raw codes right, volts off by one step",
        what="records",
        roles=("device",),
    )

    _before = b""

    def reply(self, due: Due, line: Line) -> Due | None:
        """The answer to the same question before."""
        at_s, answer = due
        questions = line.question.strip().upper().split(b";")
        scales = (n for n, question in enumerate(questions) if question.lstrip(b":").startswith(b"FETC:SCAL"))
        place = next(scales, None)
        answers = answer.removesuffix(b"\n").split(b";", len(questions) - 1)
        if place is None or len(answers) != len(questions):
            return due
        stale, self._before = self._before, answers[place]
        if not (stale and self.struck()):
            return due
        answers[place] = stale
        return at_s, b";".join(answers) + b"\n"


FAULTS: Final[tuple[type[Fault], ...]] = (
    BlockTruncated,
    BlockHeaderWrong,
    ByteOrderWrong,
    PreambleStale,
)
