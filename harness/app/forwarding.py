"""Copies a station's runs to a server: once, or as they come."""

from __future__ import annotations

import contextlib
from typing import Any, Protocol

from harness.app.output import say
from harness.errors import StoreUnavailable
from harness.store import Forwarder, Waiting

FIRST_PAUSE_S, LAST_PAUSE_S = 0.5, 30.0
"""Between two looks; the pause doubles while the server is away."""


class Enough(Exception):
    """Nothing more will come: raised by a pause, ends `follow`."""


class Sleeper(Protocol):
    """The part of a clock that waits."""

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        ...


def send(forwarder: Forwarder) -> Waiting:
    """Send all that waits; what was sent.

    Raises:
        StoreUnavailable: the server cannot be reached; says how much waits.
    """
    try:
        return forwarder.send()
    except StoreUnavailable as error:
        error.add_note(f"nothing is lost: {words(forwarder.waiting())} waiting")
        raise


def follow(forwarder: Forwarder, clock: Sleeper, *, quiet: bool = False) -> Waiting:
    """Send what comes, until interrupted or `Enough`; what was sent in all. A server that is away is tried again.

    `quiet`: said is only that the server went away, and what was sent when it came back.
    """
    readings, events, pause_s, told = 0, 0, FIRST_PAUSE_S, ""
    with contextlib.suppress(KeyboardInterrupt, Enough):
        while True:
            try:
                forwarder.expect()
                sent = forwarder.send()
                readings, events = readings + sent.readings, events + sent.events
                if told or (sent.runs and not quiet):
                    say(f"{forwarder.target}: {words(sent)} sent")
                pause_s, told = FIRST_PAUSE_S, ""
            except StoreUnavailable as error:
                pause_s = min(pause_s * 2, LAST_PAUSE_S)
                if not told:
                    say(f"{error}")
                waiting = words(forwarder.waiting())
                if waiting != told and not (quiet and told):
                    say(f"{forwarder.target}: away; {waiting} waiting")
                told = waiting
            clock.sleep(pause_s)
    return Waiting(runs=len(forwarder.touched), readings=readings, events=events)


def words(part: Waiting) -> str:
    """How much, for a person."""
    return f"{part.readings} readings and {part.events} lines of journal of {part.runs} runs"


def as_json(target: str, sent: Waiting, waiting: Waiting) -> dict[str, Any]:
    """The outcome of a forwarding, for a machine."""
    return {
        "target": target,
        "sent": {"runs": sent.runs, "readings": sent.readings, "events": sent.events},
        "waiting": {"runs": waiting.runs, "readings": waiting.readings, "events": waiting.events},
    }
