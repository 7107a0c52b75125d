"""One line of the catalogue of faults."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["product", "station", "io"]
Seam = Literal["device", "source", "bus", "link", "process"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultEntry:
    """What a user may know of a fault before asking for it."""

    id: str = ""
    """F: the product, T: the station, I: instruments, links and host."""
    name: str
    kind: Kind
    """Whose fault it is: the unit's, the tester's, or that of instrument, link, host and data."""
    does: str
    shows: str
    size: str = ""
    """What the size means, with its unit; empty: the fault takes none."""
    default_size: float | None = None
    low: float = 0.0
    high: float = 0.0
    whole: bool = False
    """The size is a whole number."""
    second: str = ""
    """What the number behind a comma means; empty: there is none."""
    default_second: float | None = None
    second_low: float = 0.0
    second_high: float | None = 0.0
    """None: as high as the size itself, by the unit."""
    takes_channel: bool = True
    roles: tuple[str, ...] = ()
    """Instruments whose link can have it; given in place of a channel."""
    places: tuple[str, ...] = ()
    """Where it can sit, given behind a slash."""
    default_place: str = ""
    default_start: int = 1
    """First record that has it unless told otherwise."""
    seam: Seam = "device"
    """Where in the simulated bench it acts; `process` only where bench and tool are one process."""
    needs: str = ""
    """Not empty: it cannot be injected yet, and this is what it needs."""
