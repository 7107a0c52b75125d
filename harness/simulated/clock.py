"""A clock that jumps: waiting costs nothing."""

from __future__ import annotations

import datetime as dt


class JumpClock:
    """Simulated time; starts at 0 s and moves only when somebody sleeps."""

    def __init__(self, *, epoch: dt.datetime | None = None) -> None:
        """Start now, or at a given wall-clock time.

        Args:
            epoch: wall-clock time, with time zone, at 0 s; the computer's own when left out.
        """
        self._epoch = (epoch or dt.datetime.now(dt.UTC)).astimezone(dt.UTC)
        self._now_s = 0.0
        self._stepped_s = 0.0

    def now_s(self) -> float:
        """Simulated monotonic time, s."""
        return self._now_s

    def utc(self) -> str:
        """Wall-clock time of the simulation, ISO 8601, UTC, microseconds."""
        return (self._epoch + dt.timedelta(seconds=self._now_s + self._stepped_s)).isoformat(timespec="microseconds")

    def sleep(self, seconds: float) -> None:
        """Jump ahead; a negative time is none."""
        self._now_s += max(0.0, seconds)

    def step_wall(self, seconds: float) -> None:
        """Set the wall clock forward or back; monotonic time knows nothing of it."""
        self._stepped_s += seconds
