"""One frame on its way along the control path, and what is known when it leaves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.simulated.bus_traffic import Frame


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What the bus carries and what arrives."""

    channel: int
    """0 for a bystander such as the bias converter."""
    frame: Frame
    """As everybody hears it who listens at the device's end of the bus."""
    word: int
    """As the shift register behind the pins holds it."""
    takers: tuple[int, ...]
    """Channels whose gain device latches it."""
    sampled: bool = False
    """The word is what a shift register makes of the edges, not `word`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What lies before a frame."""

    word_bits: int
    data: int
    """Level of the data line."""
    shifted: int
    """What was shifted before, newest bit lowest."""
    sent: Mapping[int, int]
    """The word last sent to each channel."""
    registers: Mapping[int, int]
    """The word that each gain device holds."""
    following: Mapping[int, int]
    """The words that the other channels get in the same burst."""
