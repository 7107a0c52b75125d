"""What the operator's page depends on: screens, buttons, how a try ended."""

from __future__ import annotations

import enum
from dataclasses import dataclass


class Screen(enum.StrEnum):
    """What the operator sees."""

    BADGE = "badge"
    """Scan your badge."""
    UNIT = "unit"
    """Scan a unit."""
    PREPARE = "prepare"
    """Is it due, is the station fit? No instrument is touched."""
    CONNECT = "connect"
    """A picture: connect the unit. The source is off."""
    CHECK = "check"
    """Who answers on the bench?"""
    RUN = "run"
    """The ladder is walked."""
    STOPPING = "stopping"
    """STOP was pressed; until the source is known to be off."""
    VERDICT = "verdict"
    LOCKED = "locked"
    TROUBLE = "trouble"
    """Nothing was measured: not due, no instrument answers, a file is wrong."""


class Button(enum.StrEnum):
    """What can be pressed."""

    CONNECTED = "connected"
    STOP = "stop"
    NEXT = "next"
    AGAIN = "again"
    BACK = "back"
    SIGN_OFF = "sign-off"


class Kind(enum.StrEnum):
    """How a try ended."""

    PASS = "pass"
    RETEST_PASS = "retest-pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    STATION = "station"
    """INVALID: the station or the measurement, never the unit."""
    STOPPED = "stopped"
    GOLDEN_SOUND = "golden-sound"
    GOLDEN_BUILDING = "golden-building"
    GOLDEN_OFF = "golden-off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The end of a try."""

    kind: Kind
    item: str = ""
    """The first failing item, as limits files name it; empty without one."""
    where: str = ""
    """Its setting, for people."""
    attempt: int = 0
    most: int = 0
    """Attempts that a unit may have; 0: they are not counted."""
    detail: str = ""
    """For the engineer."""
    took_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldLock:
    """A lock-out that holds."""

    code: str
    text: str
    detail: str
    lift: str
    """Who may lift it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """All that the page depends on."""

    screen: Screen = Screen.BADGE
    operator: str = ""
    unit: str = ""
    golden: bool = False
    ticket: int = 0
    run_id: str = ""
    planned: int = 0
    done: int = 0
    left_s: float | None = None
    verdict: Verdict | None = None
    locks: tuple[HeldLock, ...] = ()
    why: str = ""
    """Key of a text: why the last input was not taken, or what the trouble is."""
    detail: str = ""
    """What belongs to it: the text that was scanned, or words for the engineer."""


RESTING = frozenset({Screen.BADGE, Screen.UNIT, Screen.VERDICT, Screen.LOCKED, Screen.TROUBLE})
"""Screens on which no process of the bench is at work."""
