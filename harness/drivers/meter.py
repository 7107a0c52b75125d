"""The reference meter's driver: one number, the level of a sine at the source's terminals."""

from __future__ import annotations

from harness.drivers.instrument import InstrumentDriver
from harness.drivers.source import UNIT_PER_VPK


class MeterDriver(InstrumentDriver):
    """A meter by its instrument file."""

    def prepare(self) -> None:
        """Ready to read."""
        self._carry_out(self._commands.messages("prepare"))

    def read_level(self) -> float:
        """The level now, V peak."""
        question = self._commands.question("level_query")
        value = self._query_number(question)
        if value < 0.0:
            raise self._bad_reply(question, f"{value:g}", f"a level in {self._profile.level_unit}, 0 or more")
        self._check_errors((question,))
        return value / UNIT_PER_VPK[self._profile.level_unit]
