"""Handing on again and again, as a process of its own beside a line."""

from __future__ import annotations

import contextlib
from typing import Protocol

from harness.app.export.queue import try_again, waiting
from harness.app.signals import interruptible
from harness.config import Export
from harness.store import Clock, Store

FIRST_PAUSE_S, LAST_PAUSE_S = 5.0, 300.0
"""Between two tries; the pause doubles while something fails."""


class WaitingClock(Clock, Protocol):
    """A clock that can wait too."""

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        ...


def follow(store: Store, clock: WaitingClock, *, wanted: Export | None) -> int:
    """Try what waits until interrupted; how many runs were handed on."""
    done, pause_s = 0, FIRST_PAUSE_S
    with contextlib.suppress(KeyboardInterrupt), interruptible():
        while True:
            clock.sleep(pause_s)
            now, left = try_again(store, clock, wanted=wanted) if waiting(store) else (0, 0)
            done += now
            pause_s = min(2.0 * pause_s, LAST_PAUSE_S) if left else FIRST_PAUSE_S
    return done
