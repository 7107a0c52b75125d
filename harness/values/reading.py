"""What was measured at one setting, in one attempt."""

from __future__ import annotations

import enum
from dataclasses import dataclass

from harness.values.capture import Capture
from harness.values.kept import Kept
from harness.values.purpose import Purpose
from harness.values.setting import Setting
from harness.values.waveform import Waveform


class ReadingStatus(enum.StrEnum):
    """What became of the attempt."""

    VALID = "valid"
    """A sound record, to be judged."""
    AVERAGED = "averaged"
    """A sound record, to be judged with the final one of its rung; another of the same setting and level follows."""
    RELEVELLED = "re-levelled"
    """Clipped or underfilled; another attempt at another level follows."""
    RETRIED = "retried"
    """Failed (link, read-back, instrument error); another attempt from source-off follows."""
    INVALID = "invalid"
    """Failed for the last time: no opinion about the device."""
    UNMEASURABLE = "unmeasurable"
    """No level gives a valid record although the source is proven good: a product failure."""


class Direction(enum.StrEnum):
    """Which way the ladder was walked."""

    UP = "up"
    DOWN = "down"


BENCH_GONE = ("LinkLost", "OpenFailed", "LinkClosed", "WrongInstrument", "StationFault", "RefusedUnsafe")
"""First words of the reason of a reading that had no working bench: nothing of the unit was measured."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """One attempt at one setting, raw; what it means is judged later."""

    index: int
    """0-based number of the attempt within the run, the order of recording."""
    setting: Setting
    direction: Direction
    attempt: int
    """0-based number of the attempt at this rung."""
    status: ReadingStatus
    reason: str
    """Empty for VALID; else a short code and the words of the error."""
    drive_set_vpk: float
    """Level asked of the source, V peak at its terminals for the load it was told; 0 when off; of a steady level its
    amount."""
    drive_read_vpk: float
    """Level the source reads back, V peak; 0 when off or unknown."""
    frequency_hz: float
    """Read back from the source; 0 when unknown."""
    waveform: Waveform | None
    """None when nothing was fetched."""
    capture: Capture | None
    """None when the bench has no adapter or the capture failed."""
    capture_reason: str
    """Empty; or why the capture is missing (the gain is still judged)."""
    read_back: tuple[tuple[str, str], ...]
    """Named read-backs of device and source, as text."""
    messages: tuple[str, ...]
    """What stood in an instrument's error queue and ended the try; empty for a sound one."""
    started_utc: str
    """ISO 8601, UTC."""
    started_s: float
    """Monotonic clock, s."""
    duration_s: float
    purpose: Purpose = Purpose.LADDER
    aggressor_vpk: float = 0.0
    """Level that the source of another channel reads back, V peak; 0 where there is none."""
    aggressor_hz: float = 0.0
    """Frequency that it reads back; 0 where there is none."""
    meter_vpk: float | None = None
    """Level at the source's terminals by the reference meter, V peak; None where there is none, or it was not read."""
    steady_v: tuple[float, ...] = ()
    """Steady levels as read back, V at the source's terminals for the load it was told: the waveform is as many records
    of equal length, one at each. Empty for a sine."""
    records: int = 1
    """Of a final reading: records that count together, this one included; the others stand before it as AVERAGED."""
    stopped: str = ""
    """Why no further record was taken: `certain`, `most` or `no-gain`; empty where one record is a reading."""
    kept: Kept | None = None
    """What stays of raw data that were dropped after the reading was judged; None where they are all there."""

    @property
    def final(self) -> bool:
        """Whether no further attempt at the rung followed."""
        return self.status not in (ReadingStatus.AVERAGED, ReadingStatus.RELEVELLED, ReadingStatus.RETRIED)

    @property
    def bench_gone(self) -> bool:
        """Whether it failed for want of a working bench: a resumed run takes it again, and that one counts."""
        return self.status is ReadingStatus.INVALID and self.reason.startswith(BENCH_GONE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A line of the run's journal."""

    at_utc: str
    at_s: float
    kind: str
    """Short code: retry, re-level, link, self-check, safe-state, finished, interrupted, note."""
    text: str
