"""Numbers the readings and hands them to the recorder: a reading counts, and is announced, only once it is durable."""

from __future__ import annotations

from collections.abc import Callable

from harness.bench import Recorder
from harness.values import Reading, ReadingStatus


class Journal:
    """The order of recording of one run.

    A sound reading may wait until the next record is under way, when the bench needs nobody; whatever else is recorded,
    and the end of a portion, comes behind it.
    """

    def __init__(self, recorder: Recorder, *, first_index: int = 0, overlap: bool = False) -> None:
        """Take the recorder; with `overlap` a sound reading waits for `settle`."""
        self._recorder = recorder
        self._overlap = overlap
        self._waiting: Reading | None = None
        self._announcement: Callable[[], None] | None = None
        self.next_index = first_index
        self.broken = False
        """What was to be done for an earlier reading has failed; the error is on its way out."""

    def record(self, reading: Reading) -> None:
        """Commit a reading, or let a sound one wait; StoreError stops the sweep."""
        self.settle()
        self.next_index = reading.index + 1
        self._waiting = reading
        if not (self._overlap and reading.status in (ReadingStatus.VALID, ReadingStatus.AVERAGED)):
            self.settle()

    def announce(self, work: Callable[[], None]) -> None:
        """Do something once the last reading is durable: now, or when it is."""
        if self._waiting is None:
            work()
        else:
            self._announcement = work

    def note(self, kind: str, text: str) -> None:
        """Commit a line of the run's journal."""
        self.settle()
        self._recorder.note(kind, text)

    def settle(self) -> None:
        """Commit the reading that waits, then announce it."""
        reading, self._waiting = self._waiting, None
        work, self._announcement = self._announcement, None
        if reading is None:
            return
        try:
            self._recorder.record(reading)
            if work is not None:
                work()
        except BaseException:
            self.broken = True
            raise
