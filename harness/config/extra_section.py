"""The `[extra]` table of a job: readings beside the ladder, each kind off unless named."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from harness.config.model import Positive, Table

Fill = Annotated[float, Field(gt=0.0, lt=1.0)]
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
    crosstalk_hz: Positive | None = None
    """Frequency at which the bench's aggressor drives its channel."""
    crosstalk_fill: Fill = 0.8
    """Wanted fill of the aggressor's channel."""

    @model_validator(mode="after")
    def _sense(self) -> Extra:
        if self.two_level is not None and not self.two_level[1] >= 1.5 * self.two_level[0]:
            raise ValueError("two_level: the lower fill first, the upper one at least 1.5 times as much")
        if 0 < self.repeats < FEWEST_REPEATS:
            raise ValueError(f"repeats: 0, or {FEWEST_REPEATS} to 100")
        return self
