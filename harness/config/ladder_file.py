"""configs/ladders/*.toml: a short ladder, range by range, with what it covers of the whole one."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator

from harness.config.model import Count, Name, NotNegative, Table, Versioned

NotNegativeCount = Annotated[int, Field(ge=0)]


class LadderRange(Table):
    """The fine positions that are visited in one range."""

    coarse: Name
    """Name of a range."""
    fine: tuple[NotNegativeCount, ...] = Field(min_length=1)
    """0-based positions."""


class CaughtFault(Table):
    """One fault of the dictionary, over all places where it can sit."""

    fault: Name
    entries: Count
    """Places, sizes and ways of it that change a gain or a word somewhere on the whole ladder."""
    least: NotNegativeCount
    """Settings of a channel that show the entry which is hardest to see."""
    full: Count
    """The same of the whole ladder."""


class LadderCoverage(Table):
    """What the settings were chosen for, of one channel."""

    detect: Count
    """Settings that must show each entry, where the whole ladder has as many."""
    settings: Count
    full_settings: Count
    weakest_percent: NotNegative
    """A reading shows an entry that moves it by more than this, or that changes its word."""
    prediction_percent: NotNegative
    """Largest standard uncertainty of a gain that the law predicts from these settings, percent."""
    full_prediction_percent: NotNegative
    """The same from the whole ladder."""
    fault: tuple[CaughtFault, ...] = ()


class LadderFile(Versioned):
    """A whole short ladder; every channel takes the same settings."""

    kind: Literal["ladder"]
    name: Name
    device: Name
    """Name of the device that it was made for."""
    device_version: Count
    """Of that device's file."""
    range: tuple[LadderRange, ...] = Field(min_length=1)
    coverage: LadderCoverage | None = None
    """None: chosen by hand."""

    @field_validator("range")
    @classmethod
    def _each_once(cls, ranges: tuple[LadderRange, ...]) -> tuple[LadderRange, ...]:
        names = [one.coarse for one in ranges]
        if len(set(names)) != len(names):
            raise ValueError("each range once")
        return ranges
