"""Faults of answers: late, missing, garbled, no numbers, from somebody else."""

from __future__ import annotations

import re
from typing import Final

from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.link_fault import FIRST_RECORD, ROLES, Due, Line, LinkFault

_NUMBER = re.compile(rb"[+-]?\d+(\.\d*)?([eE][+-]?\d+)?\n")
_MOST = 1000


class ReplyLate(LinkFault):
    """An answer comes after its deadline."""

    entry = FaultEntry(
        id="I01",
        name="reply-late",
        kind="io",
        does="one answer is late",
        shows="a time-out; on a link without message numbers the answer is then taken for that to the next question",
        size="delay over the time-out",
        default_size=2.0,
        high=100.0,
        roles=ROLES,
        default_start=FIRST_RECORD,
        seam="link",
    )

    def reply(self, due: Due, line: Line) -> Due | None:
        """Later."""
        if not self.struck():
            return due
        return due[0] + (self.size or 0.0) * line.timeout_s, due[1]


class ReplyMissing(LinkFault):
    """Answers never come."""

    entry = FaultEntry(
        id="I02",
        name="reply-missing",
        kind="io",
        does="answers get lost",
        shows="a time-out; the link answers again after a clear",
        size="answers in a row",
        default_size=1,
        high=_MOST,
        whole=True,
        roles=ROLES,
        default_start=FIRST_RECORD,
        seam="link",
    )

    def times(self) -> int:
        """As said."""
        return round(self.size or 0)

    def reply(self, due: Due, line: Line) -> Due | None:
        """Gone."""
        del line
        return None if self.struck() else due


class _OtherNumber(LinkFault):
    """A number is answered by something that is none."""

    answer = b""

    def times(self) -> int:
        """As said."""
        return round(self.size or 0)

    def reply(self, due: Due, line: Line) -> Due | None:
        """Only numbers with a fraction or an exponent: counters and flags are never missing."""
        del line
        at_s, answer = due
        measured = _NUMBER.fullmatch(answer) is not None and (b"." in answer or b"E" in answer.upper())
        return (at_s, self.answer) if measured and self.struck() else due


class NotANumberValue(_OtherNumber):
    """9.91E37 stands for NaN."""

    answer = b"9.91E+37\n"
    entry = FaultEntry(
        id="I06",
        name="not-a-number-value",
        kind="io",
        does="a number is answered by 9.91E37, which stands for NaN",
        shows="that number in place of a level, a rate or a scale",
        size="numbers in a row",
        default_size=1,
        high=_MOST,
        whole=True,
        roles=("source", "device"),
        default_start=FIRST_RECORD,
        seam="link",
    )


class InfinityValue(_OtherNumber):
    """9.9E37 stands for infinity."""

    answer = b"9.9E+37\n"
    entry = FaultEntry(
        id="I07",
        name="infinity-value",
        kind="io",
        does="a number is answered by 9.9E37, which stands for infinity or for no measurement",
        shows="that number in place of a level, a rate or a scale",
        size="numbers in a row",
        default_size=1,
        high=_MOST,
        whole=True,
        roles=("source", "device"),
        default_start=FIRST_RECORD,
        seam="link",
    )


class ReplyGarbled(LinkFault):
    """Bits flip on the way."""

    entry = FaultEntry(
        id="I13",
        name="reply-garbled",
        kind="io",
        does="bits of the answers flip on the serial line",
        shows="answers that fail their pattern or their check sum",
        size="probability for each bit",
        default_size=1.0e-3,
        high=1.0,
        roles=("adapter",),
        default_start=FIRST_RECORD,
        seam="link",
    )

    def reply(self, due: Due, line: Line) -> Due | None:
        """Each bit by itself; the gaps between errors are drawn, not each bit."""
        del line
        chance = (self.size or 0.0) * self.chance
        if not (self.begun and chance):
            return due
        answer = bytearray(due[1])
        place = int(self.dice.geometric(chance)) - 1
        while place < 8 * len(answer):
            answer[place // 8] ^= 1 << place % 8
            place += int(self.dice.geometric(chance))
        return due[0], bytes(answer)


class WrongInstrument(LinkFault):
    """Somebody else answers."""

    entry = FaultEntry(
        id="I17",
        name="wrong-instrument",
        kind="io",
        does="another instrument answers when asked for its identity",
        shows="model or serial number differs from the bench file",
        size="answers in a row",
        default_size=_MOST,
        high=_MOST,
        whole=True,
        roles=ROLES,
        default_start=0,
        seam="link",
    )

    def times(self) -> int:
        """As said."""
        return round(self.size or 0)

    def reply(self, due: Due, line: Line) -> Due | None:
        """A neighbour on the bench."""
        if not (line.question.strip().upper() == b"*IDN?" and self.struck()):
            return due
        return due[0], b"Ardnish,PM-3,AR000017,1.0\n"


class TwoOwners(LinkFault):
    """Another program asks too."""

    entry = FaultEntry(
        id="I19",
        name="two-owners",
        kind="io",
        does="another program uses the same link: answers to its questions come in between",
        shows="an answer to a question that was never asked",
        size="foreign questions in a row",
        default_size=1,
        high=_MOST,
        whole=True,
        roles=ROLES,
        default_start=FIRST_RECORD,
        seam="link",
    )

    def times(self) -> int:
        """As said."""
        return round(self.size or 0)

    def reply(self, due: Due, line: Line) -> Due | None:
        """Its answer first."""
        if not self.struck():
            return due
        return due[0], line.instrument.handle(b"SYST:VERS?\n") + due[1]


FAULTS: Final[tuple[type[Fault], ...]] = (
    ReplyLate,
    ReplyMissing,
    NotANumberValue,
    InfinityValue,
    ReplyGarbled,
    WrongInstrument,
    TwoOwners,
)
