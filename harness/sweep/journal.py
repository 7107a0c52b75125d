"""Numbers the readings and hands them to the recorder: a reading counts only once it is durable."""

from __future__ import annotations

from harness.bench import Recorder
from harness.values import Reading


class Journal:
    """The order of recording of one run."""

    def __init__(self, recorder: Recorder, *, first_index: int = 0) -> None:
        self._recorder = recorder
        self.next_index = first_index

    def record(self, reading: Reading) -> None:
        """Commit a reading; StoreError stops the sweep."""
        self._recorder.record(reading)
        self.next_index = reading.index + 1

    def note(self, kind: str, text: str) -> None:
        """Commit a line of the run's journal."""
        self._recorder.note(kind, text)
