"""Faults inside instruments, and of connections: refused commands, early flags, links that break."""

from __future__ import annotations

import re
from typing import Final, Protocol, cast

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
from harness.simulated.status import QUEUE_DEPTH

_LEVEL = re.compile(rb"^(\s*:?(?:SOUR\w*:)?VOLT\w*\s+)([0-9.Ee+-]+)\s*$", re.IGNORECASE)
_SETTING = re.compile(rb"^\s*:?(INP|GAIN|VOLT|SOUR|FREQ|LOAD)", re.IGNORECASE)


class _Adapter(Protocol):
    """What these faults need of the adapter."""

    def nudge(self, *, reset: bool) -> None:
        """A pulse on a control line."""

    def keep_events(self, most: int | None) -> None:
        """A short memory."""


def _adapter(line: Line) -> _Adapter:
    """The instrument of a link that only adapters have."""
    return cast(_Adapter, line.instrument)


class ErrorQueueOverflow(LinkFault):
    """The queue is full of errors."""

    entry = FaultEntry(
        id="I08",
        name="error-queue-overflow",
        kind="io",
        does="more errors are reported at once than the error queue holds",
        shows="-350 at the end of the queue; what was refused is unknown",
        size="errors",
        default_size=QUEUE_DEPTH + 1,
        high=MOST,
        whole=True,
        roles=ROLES,
        default_start=FIRST_RECORD,
        seam="link",
    )

    def command(self, message: bytes, line: Line) -> bytes | None:
        """Before a message is carried out."""
        if self.struck():
            for _ in range(round(self.size or 0)):
                line.instrument.status.report(-221, "settings of somebody else")
        return message


class CommandRejected(RepeatedLinkFault):
    """A setting is refused, and only the queue says so."""

    entry = repeated(
        "I09",
        "command-rejected",
        does="commands that set something are refused",
        shows="an entry in the error queue; reads back what was set before",
        what="commands",
    )

    def command(self, message: bytes, line: Line) -> bytes | None:
        """Not carried out; a word to be loaded is answered by the adapter's ERR."""
        loads = message.lstrip().upper().startswith(b"LOAD")
        setting = _SETTING.match(message) is not None and b"?" not in message
        if not ((loads or setting) and self.struck()):
            return message
        line.instrument.status.report(-221, "refused")
        return b"LOAD" if loads else None


class SettingCoerced(LinkFault):
    """The source takes another level."""

    entry = FaultEntry(
        id="I10",
        name="setting-coerced",
        kind="io",
        does="the source changes the level it is given to one that it likes better",
        shows="the level reads back differently from what was sent",
        size="change of the level, percent",
        default_size=2.0,
        low=-90.0,
        high=100.0,
        roles=("source",),
        default_start=FIRST_RECORD,
        seam="link",
    )

    def command(self, message: bytes, line: Line) -> bytes | None:
        """Another number."""
        del line
        match = _LEVEL.match(message)
        if match is None or not self.struck():
            return message
        return match[1] + f"{float(match[2]) * (1.0 + (self.size or 0.0) / 100.0):.9g}".encode()

    def times(self) -> int:
        """It always does."""
        return 1_000_000_000


class CompleteFlagEarly(LinkFault):
    """Operation complete is answered before it is."""

    entry = FaultEntry(
        id="I11",
        name="complete-flag-early",
        kind="io",
        does="operation complete is answered before the change is complete",
        shows="the first record after a change is taken too early; the second one is right",
        size="share of the wait that is missing",
        default_size=0.5,
        high=1.0,
        roles=("source", "device"),
        default_start=FIRST_RECORD,
        seam="link",
    )

    def command(self, message: bytes, line: Line) -> bytes | None:
        """Shorten what is under way."""
        if message.strip().upper() == b"*OPC?" and self.begun:
            line.instrument.hurry(self.size or 0.0)
        return message


class LinkClosedByPeer(LinkFault):
    """The peer hangs up."""

    entry = FaultEntry(
        id="I14",
        name="link-closed-by-peer",
        kind="io",
        does="the instrument closes the connection instead of answering",
        shows="end of file on the link; a new connection works, unless it stays away",
        size="attempts to connect again that find nobody (1000: it stays away)",
        default_size=0,
        high=MOST,
        whole=True,
        roles=ROLES,
        default_start=FIRST_RECORD,
        seam="process",
    )

    def reply(self, due: Due, line: Line) -> Due | None:
        """Gone instead."""
        if not self.struck():
            return due
        line.broken, line.refuses = True, round(self.size or 0)
        return None


class LinkDeaf(LinkFault):
    """The peer takes nothing more."""

    entry = FaultEntry(
        id="I15",
        name="link-deaf",
        kind="io",
        does="the instrument takes no more bytes for a while",
        shows="sending blocks: a time-out of the write, not of the read",
        size="time over the time-out",
        default_size=2.0,
        high=1.0e6,
        roles=ROLES,
        default_start=FIRST_RECORD,
        seam="process",
    )

    def writing(self, message: bytes, line: Line) -> float:
        """Blocked."""
        del message
        return (self.size or 0.0) * line.timeout_s if self.struck() else 0.0


class PortRenamed(LinkFault):
    """The adapter comes back under another name."""

    entry = FaultEntry(
        id="I16",
        name="port-renamed",
        kind="io",
        does="the adapter's port vanishes; with size 2 another device then has its name",
        shows="the link is lost; the name leads to nobody, or to a wrong instrument; then it is found by serial number",
        size="1: nobody has the name, 2: another device has it",
        default_size=1,
        low=1,
        high=2,
        whole=True,
        roles=("adapter",),
        default_start=FIRST_RECORD,
        seam="process",
    )

    _stranger = 0

    def reply(self, due: Due, line: Line) -> Due | None:
        """Gone; or somebody else, once."""
        if self._stranger and line.question.strip().upper() == b"*IDN?":
            self._stranger -= 1
            return due[0], b"Ardnish,PM-3,AR000017,1.0\n"
        if not self.struck():
            return due
        line.broken = True
        if self.size == 2:
            self._stranger = 1
        else:
            line.refuses = 1
        return None


class ControlLinesPulsed(LinkFault):
    """Opening the port clocks the bus."""

    entry = FaultEntry(
        id="I18",
        name="control-lines-pulsed",
        kind="io",
        does="opening the adapter's port pulses a control line: 1 resets the gain devices, 2 clocks their registers",
        shows="power-on gain until the next word; words count only from the second one on",
        size="1: reset, 2: one clock edge",
        default_size=1,
        low=1,
        high=2,
        whole=True,
        roles=("adapter",),
        seam="process",
    )

    def opened(self, line: Line) -> None:
        """Each time."""
        _adapter(line).nudge(reset=self.size == 1)


class CaptureIncomplete(RepeatedLinkFault):
    """The adapter drops events."""

    entry = repeated(
        "I20",
        "capture-incomplete",
        does="the adapter keeps only a few events of a capture",
        shows="its drop counter is not zero; words are missing, the gain is right",
        what="captures",
        roles=("adapter",),
    )

    def command(self, message: bytes, line: Line) -> bytes | None:
        """A short memory for one capture."""
        if message.strip().upper() == b"FETCH?":
            _adapter(line).keep_events(KEPT_EVENTS if self.struck() else None)
        return message


KEPT_EVENTS = 20
"""Less than any word takes."""

FAULTS: Final[tuple[type[Fault], ...]] = (
    ErrorQueueOverflow,
    CommandRejected,
    SettingCoerced,
    CompleteFlagEarly,
    LinkClosedByPeer,
    LinkDeaf,
    PortRenamed,
    ControlLinesPulsed,
    CaptureIncomplete,
)
