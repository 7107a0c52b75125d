"""Real time."""

from __future__ import annotations

import datetime as dt
import time


class RealClock:
    """The computer's monotonic clock, and its wall clock for labels."""

    def now_s(self) -> float:
        """Monotonic time, s."""
        return time.monotonic()

    def utc(self) -> str:
        """Wall-clock time, ISO 8601, UTC, microseconds."""
        return dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")

    def sleep(self, seconds: float) -> None:
        """Let `seconds` pass; a negative time is none."""
        time.sleep(max(0.0, seconds))
