"""What a reading was taken for."""

from __future__ import annotations

import enum


class Purpose(enum.StrEnum):
    """The ladder itself, or one of the extra readings that a job may ask for."""

    LADDER = "ladder"
    ANCHOR = "anchor"
    """A setting read again, to see whether bench and unit are still where they were; decides nothing about the unit."""
    TWO_LEVEL = "two-level"
    """The same setting at two fills."""
    SECOND_FREQUENCY = "second-frequency"
    """The same setting at the test frequency and at another."""
    QUIET = "quiet"
    """Source off: noise and offset alone."""
    REPEAT = "repeat"
    """One setting again and again, nothing moved between."""
    REPEAT_TOGGLED = "repeat-toggled"
    """The same, with the relays moved away and back before each reading."""
    DC_PLUS = "dc-plus"
    """A steady level above zero, and around it the positions of a dither."""
    DC_MINUS = "dc-minus"
    """The same below zero: the difference of the two is the gain at DC."""
    CROSSTALK = "crosstalk"
    """Source off, and another channel driven by a source of its own at another frequency."""
    OVERDRIVEN = "overdriven"
    """The signal beyond full scale: at which codes does the record end."""
    EXACT = "exact-step"
    """Two settings at one level, again and again: how exactly does the step keep to its name."""
    OFFSET = "offset-pair"
    """Source off, all settings in turn, again and again: does the offset at the input move with the setting."""
