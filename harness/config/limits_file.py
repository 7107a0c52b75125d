"""configs/limits/*.toml: one row per requirement."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field, field_validator, model_validator

from harness.config.model import Name, NotNegative, Table, Text, Versioned

RuleName = Literal["simple", "guarded", "guard-band", "managed"]
"""How a number is decided; what each does stands in judge/decision."""


class LimitItem(Table):
    """One requirement; which items exist is checked by the judge room."""

    item: Name
    channels: tuple[int, ...] = ()
    """Where the row holds: these channels; all when empty."""
    coarse: tuple[str, ...] = ()
    """Where the row holds: ranges of these names; all when empty."""
    low: float | None = Field(default=None, allow_inf_nan=False)
    high: float | None = Field(default=None, allow_inf_nan=False)
    unit: str = ""
    rule: RuleName | None = None
    """None: that of the file."""
    guard: NotNegative = 0.0
    """Guard band of the rule `guarded`, same unit."""
    share: NotNegative = 1.0
    """r of the rule `guard-band`: w = r·U."""
    parameter: str = ""
    """Name of a fitted parameter; for the item `parameter` only."""
    apart: int | None = Field(default=None, ge=1)
    """Most fine positions that a step spans where the row holds; for the item `fine-step` only. None: any."""
    owner: Name
    reason: Text
    version: int | None = Field(default=None, ge=1)
    """Version of the file in which this row was last changed; None: that of the file."""
    date: dt.date | None = None
    """When that was; None: the day of the file's last change."""

    @field_validator("channels", "coarse")
    @classmethod
    def _once(cls, value: tuple[object, ...]) -> tuple[object, ...]:
        if len(set(value)) != len(value):
            raise ValueError("each of them once")
        return value

    @model_validator(mode="after")
    def _order(self) -> LimitItem:
        if self.low is not None and self.high is not None and not self.high - self.low > 2 * self.guard:
            apart, bands = self.high - self.low, 2 * self.guard
            raise ValueError(
                f"low < high, further apart than two guard bands: {apart:g} apart, the bands take {bands:g}; move the "
                "limits apart or lower guard"
            )
        return self

    @property
    def scoped(self) -> bool:
        """Whether the row holds only somewhere."""
        return bool(self.channels or self.coarse)


class LimitsFile(Versioned):
    """A whole set of limits."""

    kind: Literal["limits"]
    name: Name
    rule: RuleName = "guarded"
    """Of the rows that name none."""
    limit: tuple[LimitItem, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _rows(self) -> LimitsFile:
        for index, row in enumerate(self.limit):
            rule = row.rule or self.rule
            if (row.version or 1) > self.version:
                raise ValueError(
                    f"limit[{index}].version at most {self.version}, that of the file; it is {row.version}"
                )
            if row.guard and rule != "guarded":
                raise ValueError(f"limit[{index}].guard only with the rule 'guarded'; the row's rule is {rule!r}")
            if row.share != 1.0 and rule != "guard-band":
                raise ValueError(f"limit[{index}].share only with the rule 'guard-band'; the row's rule is {rule!r}")
        return self
