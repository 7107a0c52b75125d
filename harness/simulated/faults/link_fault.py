"""Faults of one instrument's link: they meddle with what is sent and with each answer on its way back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.injection import Injection

if TYPE_CHECKING:
    from harness.simulated.instrument import Instrument

Due = tuple[float, bytes]
"""When bytes arrive, s, and the bytes."""
ROLES = ("source", "device", "adapter")
FIRST_RECORD = 10
"""Links are left alone until so many records exist: what is wrong from the start is found when the bench is opened."""

MOST = 1000
"""Events in a row: for ever, in a run."""


@dataclass(slots=True, kw_only=True)
class Line:
    """The link as a fault sees it."""

    role: str
    instrument: Instrument
    timeout_s: float
    question: bytes = b""
    """The message that is answered."""
    broken: bool = False
    """The peer has gone; a new connection finds it again."""
    refuses: int = 0
    """So many attempts to connect again find nobody."""


class LinkFault(Fault):
    """By itself it changes nothing. It strikes at some of the events that it counts, then leaves off.

    With a chance it strikes at any of them; without, as many times in a row as `times` says.
    """

    def __init__(self, *, injection: Injection) -> None:
        super().__init__(injection=injection)
        self.left = self.times()

    def times(self) -> int:
        """How many events in a row."""
        return 1

    @property
    def begun(self) -> bool:
        """From the fetching of the first faulty record on."""
        return self.course.records >= self.start

    def sits_on(self, role: str) -> bool:
        """Whether it is this instrument's link."""
        return role in self.entry.roles and self.injection.role in ("", role)

    def struck(self) -> bool:
        """Whether it strikes at one event of the kind that it counts."""
        if not self.begun:
            return False
        if self.chance < 1.0:
            return self.strikes()
        if self.left <= 0:
            return False
        self.left -= 1
        return True

    def writing(self, message: bytes, line: Line) -> float:
        """How long the peer takes nothing before it takes this message, s."""
        del message, line
        return 0.0

    def command(self, message: bytes, line: Line) -> bytes | None:
        """A message as it arrives at the instrument; None when it never does."""
        del line
        return message

    def reply(self, due: Due, line: Line) -> Due | None:
        """An answer as it arrives; None when it never does."""
        del line
        return due

    def opened(self, line: Line) -> None:
        """The link has been opened, or opened again."""
        del line


class RepeatedLinkFault(LinkFault):
    """It strikes so many times in a row as its size says."""

    def times(self) -> int:
        """As said."""
        return round(self.size or 0)


def repeated(
    id_: str,
    name: str,
    *,
    does: str,
    shows: str,
    what: str,
    roles: tuple[str, ...] = ROLES,
    default_size: int = 1,
    default_start: int = FIRST_RECORD,
) -> FaultEntry:
    """The entry of a link fault whose size counts events in a row; `what` is counted."""
    return FaultEntry(
        id=id_,
        name=name,
        kind="io",
        does=does,
        shows=shows,
        size=f"{what} in a row",
        default_size=default_size,
        high=MOST,
        whole=True,
        roles=roles,
        default_start=default_start,
        seam="link",
    )
