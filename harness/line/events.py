"""What happens to the operator's page, and what it wants to be done."""

from __future__ import annotations

from dataclasses import dataclass

from harness.line.state import Button, HeldLock, Verdict


@dataclass(frozen=True, slots=True)
class Badge:
    """A badge was scanned."""

    operator: str


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit was scanned."""

    serial: str
    golden: bool = False


@dataclass(frozen=True, slots=True)
class Unread:
    """Something else was scanned."""

    text: str
    why: str


@dataclass(frozen=True, slots=True)
class Pressed:
    """A button or its key."""

    button: Button


@dataclass(frozen=True, slots=True)
class Admitted:
    """The unit is due and no lock holds."""

    ticket: int


@dataclass(frozen=True, slots=True)
class Locked:
    """Production mode refuses."""

    ticket: int
    locks: tuple[HeldLock, ...]


@dataclass(frozen=True, slots=True)
class Refused:
    """Nothing was measured."""

    ticket: int
    why: str
    detail: str


@dataclass(frozen=True, slots=True)
class Begun:
    """Everybody answers, the first reading is about to be taken."""

    ticket: int
    run_id: str
    planned: int


@dataclass(frozen=True, slots=True)
class Progress:
    """So much is in the record."""

    ticket: int
    done: int
    left_s: float | None


@dataclass(frozen=True, slots=True)
class Ended:
    """The source is off and the record holds what was read."""

    ticket: int
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Lost:
    """The bench's process is gone without a word; its watchdog has switched the source off."""

    ticket: int


@dataclass(frozen=True, slots=True)
class Prepare:
    """Start a process for a try; it waits before it touches an instrument."""

    ticket: int
    unit: str
    operator: str
    golden: bool


@dataclass(frozen=True, slots=True)
class Go:
    """Let it open the bench and measure."""

    ticket: int


@dataclass(frozen=True, slots=True)
class Stop:
    """End it, source off."""

    ticket: int


@dataclass(frozen=True, slots=True)
class Dismiss:
    """It is not needed any more: it has touched nothing, or has ended."""

    ticket: int


Event = Badge | Unit | Unread | Pressed | Admitted | Locked | Refused | Begun | Progress | Ended | Lost
Effect = Prepare | Go | Stop | Dismiss
TICKETED = (Admitted, Locked, Refused, Begun, Progress, Ended, Lost)
