"""Error queue, standard event register and status byte of IEEE 488.2 and SCPI-1999."""

from __future__ import annotations

from collections import deque

from harness.simulated.error_list import TEXTS, event_bit

QUEUE_DEPTH = 20
OPERATION_COMPLETE, DEVICE_ERROR, POWER_ON = 1, 8, 128
ERROR_QUEUE, MESSAGE_AVAILABLE, EVENT_SUMMARY, MASTER_SUMMARY = 4, 16, 32, 64


class Status:
    """What an instrument says of itself; a reset does not touch it, only *CLS does."""

    def __init__(self) -> None:
        self._queue: deque[tuple[int, str]] = deque()
        self.events = POWER_ON
        self.event_enable = 0
        self.service_enable = 0

    def report(self, code: int, detail: str = "") -> None:
        """Queue an error; a full queue loses its newest entry to -350."""
        bit = event_bit(code)
        if bit is not None:
            self.events |= 1 << bit
        if len(self._queue) < QUEUE_DEPTH:
            self._queue.append((code, detail))
            return
        self.events |= DEVICE_ERROR
        self._queue[-1] = (-350, "")

    def next_error(self) -> str:
        """The oldest entry as `code,"text"`, removed; `0,"No error"` when there is none."""
        return _shown(*self._queue.popleft()) if self._queue else _shown(0, "")

    def all_errors(self) -> str:
        """Every entry, oldest first, separated by commas; the queue is empty afterwards."""
        entries = [self.next_error()]
        while self._queue:
            entries.append(self.next_error())
        return ",".join(entries)

    @property
    def error_count(self) -> int:
        """Entries in the queue."""
        return len(self._queue)

    def take_events(self) -> int:
        """The standard event register, cleared by reading."""
        events, self.events = self.events, 0
        return events

    def byte(self, *, message_available: bool) -> int:
        """The status byte with the master summary in bit 6."""
        value = ERROR_QUEUE if self._queue else 0
        if message_available:
            value |= MESSAGE_AVAILABLE
        if self.events & self.event_enable:
            value |= EVENT_SUMMARY
        if value & self.service_enable & ~MASTER_SUMMARY:
            value |= MASTER_SUMMARY
        return value

    def clear(self) -> None:
        """*CLS: events and queue; the enable registers stay."""
        self._queue.clear()
        self.events = 0


def _shown(code: int, detail: str) -> str:
    text = TEXTS[code] + (f";{detail}" if detail else "")
    quoted = text[:255].replace('"', '""')
    return f'{code},"{quoted}"'
