"""The `[extra]` table of a job: readings beside the ladder, each kind off unless named."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from harness.config.model import Positive, Table

Fill = Annotated[float, Field(gt=0.0, lt=1.0)]
Overdrive = Annotated[float, Field(ge=1.1, le=2.0)]
"""Enough for a plateau at both rails, no more than a stage must stand."""
FEWEST_PAIRS = 4
"""Fewer show no change of an offset."""
FEWEST_REPEATS = 5
"""Fewer cannot show a scatter."""


class Extra(Table):
    """Which readings a job takes beside its ladder."""

    two_level: tuple[Fill, Fill] | None = None
    """Fills of two readings of one setting."""
    second_frequency_hz: Positive | None = None
    """Beside the test frequency."""
    quiet: bool = False
    """Noise and offset with the source off."""
    repeats: int = Field(default=0, ge=0, le=100)
    """Of one setting, as many without and with a toggle of its relays; 0 for none."""
    dc_fill: Fill | None = None
    """Share of the half span that steady levels of both signs reach; None: no gain at DC."""
    dc_settings: Literal["range-ends", "all"] = "range-ends"
    """Where: the least and the most sensitive setting of each range, or every setting of the ladder."""
    dither: Literal["quiet", "always", "never"] = "quiet"
    """When steady levels are stepped over one code: where their record has too little noise, always, or never."""
    dither_positions: int = Field(default=8, ge=8, le=64)
    """Of the steps."""
    crosstalk_hz: Positive | None = None
    """Frequency at which the bench's aggressor drives its channel."""
    crosstalk_fill: Fill = 0.8
    """Wanted fill of the aggressor's channel."""

    overdriven: Overdrive | None = None
    """Signal span over converter span of a reading that is meant to clip."""
    exact_steps: int = Field(default=0, ge=0, le=20)
    """Rounds of readings of two settings at one level; 0 for none."""
    offset_pairs: int = Field(default=0, ge=0, le=50)
    """Rounds of readings of all settings with the source off; 0 for none."""

    @model_validator(mode="after")
    def _sense(self) -> Extra:
        if self.two_level is not None and not self.two_level[1] >= 1.5 * self.two_level[0]:
            raise ValueError("two_level: the lower fill first, the upper one at least 1.5 times as much")
        if 0 < self.repeats < FEWEST_REPEATS:
            raise ValueError(f"repeats: 0, or {FEWEST_REPEATS} to 100")
        if self.exact_steps == 1:
            raise ValueError("exact_steps: 0, or 2 to 20: one round shows no scatter")
        if 0 < self.offset_pairs < FEWEST_PAIRS:
            raise ValueError(f"offset_pairs: 0, or {FEWEST_PAIRS} to 50")
        return self
