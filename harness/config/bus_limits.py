"""Electrical limits of a control bus, part of the [bus] table."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from harness.config.model import NotNegative, Positive, Table


class BusTimingLimits(Table):
    """Least distances between edges and the fastest clock; what is left out is not judged."""

    setup_ns: NotNegative | None = None
    """From a data edge to the next active clock edge."""
    hold_ns: NotNegative | None = None
    """From an active clock edge to the next data edge."""
    clock_high_ns: NotNegative | None = None
    clock_low_ns: NotNegative | None = None
    latch_ns: NotNegative | None = None
    """Width of a latch pulse."""
    clock_to_latch_ns: NotNegative | None = None
    """From the last active clock edge to the active latch edge."""
    latch_to_clock_ns: NotNegative | None = None
    """From the active latch edge to the next active clock edge."""
    clock_hz: Positive | None = None
    """Fastest clock."""


class BusLevels(Table):
    """The logic family of the receivers on the bus, for captures in volts."""

    family: Literal["ttl", "cmos"]
    supply_v: Positive | None = None
    """Needed for cmos, whose thresholds are 30 and 70 % of it."""

    @model_validator(mode="after")
    def _supply(self) -> BusLevels:
        if self.family == "cmos" and self.supply_v is None:
            raise ValueError('supply_v, for family = "cmos"')
        return self
