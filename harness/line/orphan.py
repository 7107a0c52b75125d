"""A bench that nobody could stop any more stops by itself: looked at from a thread of its process."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable

from harness.line.folder import Place, Try

LOOK_S = 0.25
ALONE_S = 10.0
"""So long a page may be away, started anew or hanging: longer than a start of it, shorter than anybody waits."""


def _end() -> None:
    os.kill(os.getpid(), signal.SIGTERM)


class Guard:
    """Ends the process when the page gives no sign of life, or the try is withdrawn."""

    def __init__(
        self,
        place: Place,
        one: Try,
        now_s: Callable[[], float],
        *,
        alone_s: float = ALONE_S,
        end: Callable[[], None] = _end,
    ) -> None:
        """`now_s` is monotonic: clocks that are set must end nothing."""
        self._place = place
        self._one = one
        self._now_s = now_s
        self._alone_s = alone_s
        self._end = end
        self._beat = place.last_beat()
        self._since_s = now_s()
        self._over = threading.Event()

    def start(self) -> None:
        """Look on from now, in a thread that holds nobody up."""
        threading.Thread(target=self._watch, name="guard", daemon=True).start()

    def over(self) -> None:
        """Look no more: the source is off."""
        self._over.set()

    def look(self) -> bool:
        """One look; whether the process may go on. If not it is told to end."""
        beat, now_s = self._place.last_beat(), self._now_s()
        if beat != self._beat:
            self._beat, self._since_s = beat, now_s
        if self._one.wanted and now_s - self._since_s <= self._alone_s:
            return True
        self._end()
        return False

    def _watch(self) -> None:
        while not self._over.wait(LOOK_S) and self.look():
            pass
