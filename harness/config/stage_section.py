"""The [[stage]] tables of a device file: kind, tolerances, corrections."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, Field, model_validator

from harness.config.model import Name, NotNegative, Positive, Table

MOST_POSITION_PERCENT = 50.0
"""More is another position, not a correction of this one."""


class Corrections(Table):
    """What changes a stage's gain beside its controls; each term is left out where it does not matter."""

    source_ohm: NotNegative | None = None
    """Output resistance of the stage, Ω; with load_ohm."""
    load_ohm: Positive | None = None
    """What the stage drives, Ω; with source_ohm."""
    bandwidth_hz: Positive | None = None
    """One pole at the same frequency for every gain."""
    gain_bandwidth_hz: Positive | None = None
    """One pole at this over the stage's gain."""
    temperature_percent_per_k: float = Field(default=0.0, allow_inf_nan=False)
    """Change of the gain for each kelvin above 23 °C."""
    compression_vpk: Positive | None = None
    """Scale of a tanh at the stage's input, such as 0.0517 for a bipolar pair: loss (v/compression)²/4."""
    positions_percent: dict[Name, float] = Field(default_factory=dict)
    """By how much the gain is more in named positions of the stage's control."""

    @model_validator(mode="after")
    def _both(self) -> Corrections:
        if (self.source_ohm is None) != (self.load_ohm is None):
            raise ValueError("source_ohm and load_ohm, or neither")
        if not all(abs(percent) <= MOST_POSITION_PERCENT for percent in self.positions_percent.values()):
            raise ValueError(f"positions_percent from -{MOST_POSITION_PERCENT:g} to {MOST_POSITION_PERCENT:g}")
        return self


class Stage(Table):
    """One stage of the signal path; which other keys it takes depends on `kind` and is checked by the law room."""

    model_config = ConfigDict(extra="allow", frozen=True)

    name: Name
    kind: Name
    after: Name | None = None
    """The stage in front of it; left out, the one above it in the file."""
    tolerance_percent: NotNegative | None = None
    """Half width of the stage's gain as a whole, common to all settings."""
    tolerance: dict[str, NotNegative] = Field(default_factory=dict)
    """Half width by parameter: percent of it, dB where its name ends in _db, code steps in _lsb."""
    corrections: Corrections = Corrections()

    @property
    def parameters(self) -> dict[str, Any]:
        """The keys beside name and kind."""
        return dict(self.model_extra or {})
