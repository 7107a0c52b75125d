"""Faults of answers: late, missing, garbled, no numbers, from somebody else."""

from __future__ import annotations

import re
from typing import Final

from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.link_fault import (
    FIRST_RECORD,
    MOST,
    ROLES,
    Due,
    Line,
    LinkFault,
    RepeatedLinkFault,
    repeated,
)

_NUMBER = re.compile(rb"[+-]?\d+(\.\d*)?([eE][+-]?\d+)?\n")


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


class ReplyMissing(RepeatedLinkFault):
    """Answers never come."""

    entry = repeated(
        "I02",
        "reply-missing",
        does="answers get lost",
        shows="a time-out; the link answers again after a clear",
        what="answers",
    )

    def reply(self, due: Due, line: Line) -> Due | None:
        """Gone."""
        del line
        return None if self.struck() else due


class _OtherNumber(RepeatedLinkFault):
    """A number is answered by something that is none."""

    answer = b""

    def reply(self, due: Due, line: Line) -> Due | None:
        """Only numbers with a fraction or an exponent: counters and flags are never missing."""
        del line
        at_s, answer = due
        measured = _NUMBER.fullmatch(answer) is not None and (b"." in answer or b"E" in answer.upper())
        return (at_s, self.answer) if measured and self.struck() else due


class NotANumberValue(_OtherNumber):
    """9.91E37 stands for NaN."""

    answer = b"9.91E+37\n"
    entry = repeated(
        "I06",
        "not-a-number-value",
        does="a number is answered by 9.91E37, which stands for NaN",
        shows="that number in place of a level, a rate or a scale",
        what="numbers",
        roles=("source", "device"),
    )


class InfinityValue(_OtherNumber):
    """9.9E37 stands for infinity."""

    answer = b"9.9E+37\n"
    entry = repeated(
        "I07",
        "infinity-value",
        does="a number is answered by 9.9E37, which stands for infinity or for no measurement",
        shows="that number in place of a level, a rate or a scale",
        what="numbers",
        roles=("source", "device"),
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


class WrongInstrument(RepeatedLinkFault):
    """Somebody else answers."""

    entry = repeated(
        "I17",
        "wrong-instrument",
        does="another instrument answers when asked for its identity",
        shows="model or serial number differs from the bench file",
        what="answers",
        default_size=MOST,
        default_start=0,
    )

    def reply(self, due: Due, line: Line) -> Due | None:
        """A neighbour on the bench."""
        if not (line.question.strip().upper() == b"*IDN?" and self.struck()):
            return due
        return due[0], b"Ardnish,PM-3,AR000017,1.0\n"


class TwoOwners(RepeatedLinkFault):
    """Another program asks too."""

    entry = repeated(
        "I19",
        "two-owners",
        does="another program uses the same link: answers to its questions come in between",
        shows="an answer to a question that was never asked",
        what="foreign questions",
    )

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
