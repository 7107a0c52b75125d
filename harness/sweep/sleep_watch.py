"""Has the computer slept? Then its wall clock has gone on and its monotonic clock has not."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from harness.bench import Clock
from harness.errors import HostAsleep

MOST_S = 5.0
"""More than a time server corrects at once."""


class SleepWatch:
    """Compares both clocks from one look to the next."""

    def __init__(self, clock: Clock, note: Callable[[str, str], None]) -> None:
        """Take the clock, and what writes a line into the run's journal."""
        self._clock = clock
        self._note = note
        self._wall, self._mono_s = self._now()

    def look(self) -> None:
        """HostAsleep when the wall clock has gained more than 5 s on the monotonic one since the last look.

        A clock that was set forward looks the same, and one more reading does no harm; one that was set back is noted.
        """
        (wall, mono_s), before = self._now(), (self._wall, self._mono_s)
        self._wall, self._mono_s = wall, mono_s
        gained_s = (wall - before[0]).total_seconds() - (mono_s - before[1])
        if gained_s < -MOST_S:
            self._note("clock", f"the wall clock was set back by {-gained_s:.0f} s; the order of readings is kept")
        if gained_s > MOST_S:
            raise HostAsleep(
                f"the wall clock has gained {round(gained_s, 1):g} s on the monotonic one since "
                f"{before[0]:%H:%M:%S} UTC, allowed is {MOST_S:g} s: the computer slept, or its clock was "
                "set: the reading is taken again; keep the computer from sleeping while a run goes on"
            )

    def _now(self) -> tuple[dt.datetime, float]:
        return dt.datetime.fromisoformat(self._clock.utc()), self._clock.now_s()
