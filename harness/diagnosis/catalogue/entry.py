"""One line of the table of known faults: how it shows, where to look, what tells it apart, what a run must hold."""

from __future__ import annotations

import enum
from dataclasses import dataclass


class Sight(enum.StrEnum):
    """What a run must hold for a fault to be visible in it; the value is for people."""

    GAIN = "gains"
    WORDS = "captured control words"
    BUS = "judged bus timing"
    RANGES = "ranges with different relays"
    BOTH_WAYS = "readings both ways"
    CHANNELS = "several channels"
    LEVELS = "readings at two levels"
    CLIP = "a reading driven beyond full scale"
    POLARITY = "readings of both polarities"
    FREQUENCY = "readings at a second frequency"
    LOW_FREQUENCY = "readings at a low frequency"
    OFFSET = "judged offset"
    NOISE = "judged noise"
    CROSSTALK = "readings with another channel driven"
    REPEATS = "repeated readings with and without a relay toggle"
    TEMPERATURE = "readings at two temperatures"
    RESISTANCE = "readings through a source resistance"
    CONVERTER = "a pooled histogram of the converter"
    REALNESS = "judged realness"
    GOLDEN = "readings of a golden unit"
    LINK = "a link to each instrument"
    HOST = "the journal of the host"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """One fault."""

    id: str
    """F: the unit, T: the station, I: instruments, links and host."""
    name: str
    shows: str
    """What it predicts."""
    look: str
    """Where on the board, or on the bench, to look."""
    test: str
    """What tells it from others."""
    sight: Sight
    """What a run must hold beside its ladder."""

    @property
    def station(self) -> bool:
        """Whether it is no fault of the unit."""
        return not self.id.startswith("F")


Row = tuple[str, str, Sight, str, str, str]
"""id, name, sight, what shows, where to look, test: a fault reads as one line of a table."""


def rows(*table: Row) -> tuple[Known, ...]:
    """Lines of a table as faults.

    Args:
        table: id, name, sight, what shows, where to look, what tells it apart.
    Returns:
        one fault for each.
    Source:
        none: a record.
    """
    return tuple(
        Known(id=id_, name=name, sight=sight, shows=shows, look=look, test=test)
        for id_, name, sight, shows, look, test in table
    )
