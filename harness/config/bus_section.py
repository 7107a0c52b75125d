"""The [bus] table of a device file: lines, latches, fields of the words."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from harness.config.bus_limits import BusLevels, BusTimingLimits
from harness.config.model import Name, NotNegative, Table


class Field_(Table):  # noqa: N801 - "Field" is pydantic's
    """One field of a control word: a control, a relay's coil, or bits that never change."""

    control: Name | None = None
    relay: Name | None = None
    """One bit: set while the relay carries coil current."""
    fill: int | None = Field(default=None, ge=0)
    """Value of bits that mean nothing."""
    bits: int = Field(default=1, ge=1, le=32)
    at: int | None = Field(default=None, ge=0)
    """Place of its first bit on the wire, from 0; left out, behind the field before."""
    first_bit: Literal["most-significant", "least-significant"] | None = None
    """Which end comes first; left out, as for the whole bus."""

    @model_validator(mode="after")
    def _one_meaning(self) -> Field_:
        if [self.control, self.relay, self.fill].count(None) != 2:
            raise ValueError("exactly one of control, relay, fill")
        if self.relay is not None and self.bits != 1:
            raise ValueError("bits = 1 for a relay")
        if self.fill is not None and self.fill >= 2**self.bits:
            raise ValueError(f"fill up to {2**self.bits - 1} in {self.bits} bits")
        return self


def spans(layout: tuple[Field_, ...]) -> tuple[tuple[int, int], ...]:
    """Where the fields of a layout lie.

    Args:
        layout: fields as in the file.
    Returns:
        first bit on the wire and the one behind the last, for each field.
    """
    found: list[tuple[int, int]] = []
    for field in layout:
        start = field.at if field.at is not None else (found[-1][1] if found else 0)
        found.append((start, start + field.bits))
    return tuple(found)


class GainDeviceOnBus(Table):
    """A device on data and clock; several with one latch are a daisy chain, the one next to the sender first."""

    latch: Name
    bits: int = Field(ge=1, le=64)
    channel: int | Literal["all"] | None = None
    """The channel whose gain it sets, "all" for one latch that serves every channel; none for a bystander."""
    layout: tuple[Field_, ...] = ()
    """Its own fields; empty for those of the bus."""


class Bus(Table):
    """The three-wire control bus."""

    lines: tuple[Name, ...] = Field(min_length=3, max_length=8)
    """Adapter inputs in bit order."""
    data: Name
    clock: Name
    active_clock_edge: Literal["rising", "falling"] = "rising"
    active_latch_edge: Literal["rising", "falling"] = "rising"
    minimum_pulse_ns: NotNegative = 0.0
    """Shorter pulses are glitches: ignored, counted."""
    words_per_change: int | None = Field(default=None, ge=0)
    """Words latched, by whatever device, when one setting changes; left out where it is not known."""
    idle_edges_per_change: int | None = Field(default=None, ge=0)
    """Most data edges that are traffic for somebody else, when one setting changes; left out where not known."""
    layout: tuple[Field_, ...] = Field(min_length=1)
    """Fields of the word, first on the wire first."""
    first_bit: Literal["most-significant", "least-significant"] = "most-significant"
    on_bus: tuple[GainDeviceOnBus, ...] = Field(min_length=1)
    broadcast: bool = False
    """Whether several latches at one time belong to the plan."""
    timing: BusTimingLimits = BusTimingLimits()
    levels: BusLevels | None = None

    @model_validator(mode="after")
    def _lines(self) -> Bus:
        wanted = [self.data, self.clock, *(member.latch for member in self.on_bus)]
        missing = [name for name in wanted if name not in self.lines]
        if missing:
            raise ValueError(f"data, clock and every latch among lines; missing: {', '.join(missing)}")
        for member in self.on_bus:
            layout = member.layout or self.layout
            width = max(end for _, end in spans(layout))
            # Fields that overlap or leave holes are named one by one by the law room.
            whole = width == sum(field.bits for field in layout)
            if member.channel is not None and whole and member.bits != width:
                raise ValueError(f"bits = {width} (the width of its layout) for {member.latch}")
        return self
