"""configs/limits/*.toml: one row per requirement."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from harness.config.model import Name, NotNegative, Table, Text, Versioned


class LimitItem(Table):
    """One requirement; which items exist is checked by the judge room."""

    item: Name
    low: float | None = Field(default=None, allow_inf_nan=False)
    high: float | None = Field(default=None, allow_inf_nan=False)
    guard: NotNegative = 0.0
    """Guard band, same unit."""
    unit: str = ""
    parameter: str = ""
    """Name of a fitted parameter; for the item `parameter` only."""
    owner: Name
    reason: Text

    @model_validator(mode="after")
    def _order(self) -> LimitItem:
        if self.low is not None and self.high is not None and not self.high - self.low > 2 * self.guard:
            raise ValueError("low < high, further apart than two guard bands")
        return self


class LimitsFile(Versioned):
    """A whole set of limits."""

    kind: Literal["limits"]
    name: Name
    rule: Literal["guarded"] = "guarded"
    limit: tuple[LimitItem, ...] = Field(min_length=1)
