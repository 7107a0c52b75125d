"""The ear on the control bus: the adapter listens before a setting is made and tells afterwards what it heard."""

from __future__ import annotations

from collections.abc import Callable

from harness.bench import Adapter
from harness.errors import BenchError, MeasureError, WrongInstrument
from harness.values import Capture

DEAF_IN_A_ROW = 3
"""An adapter that could not be made sound so many times in a row is left alone: each try costs several deadlines."""


class Ear:
    """An adapter, or none. Without a word the gain is still measured, so its trouble ends nothing."""

    def __init__(self, adapter: Adapter | None, note: Callable[[str, str], None]) -> None:
        """Take the adapter, and what writes a line into the run's journal."""
        self._adapter = adapter
        self._note = note
        self._fresh = False
        self._deaf_in_a_row = 0

    def disturb(self) -> None:
        """The bus carries what belongs to no rung, or nobody knows what it has carried: listen anew before the next."""
        self._fresh = False

    def listen(self, *, ahead: bool = False) -> str:
        """Listen from now on, unless it has done so ahead and heard nothing since; empty, or why it does not."""
        if self._adapter is None:
            return "the bench has no adapter"
        if self._deaf_in_a_row >= DEAF_IN_A_ROW:
            return f"the adapter was given up after {DEAF_IN_A_ROW} failures: check its power and cable"
        if not self._fresh:
            try:
                self._adapter.arm()
            except BenchError as error:
                return self._deaf(self._adapter, error)
        self._fresh = ahead
        return ""

    def heard(self) -> tuple[Capture | None, str]:
        """What was heard since it began to listen; or nothing, and why."""
        self._fresh = False
        if self._adapter is None:
            return None, "the bench has no adapter"
        try:
            return self._adapter.fetch(), ""
        except (BenchError, MeasureError) as error:
            return None, self._deaf(self._adapter, error)

    def _deaf(self, adapter: Adapter, error: Exception) -> str:
        """Words are missing; the gain is still measured. The adapter is made sound for the next rung."""
        self._fresh = False
        reason = f"{type(error).__name__}: {error}"
        try:
            self._note("link", f"adapter: {adapter.resynchronise()} after {reason}")
        except WrongInstrument:
            raise
        except BenchError as again:
            self._deaf_in_a_row += 1
            return f"{reason}; then {type(again).__name__}: {again}"
        self._deaf_in_a_row = 0
        return reason
