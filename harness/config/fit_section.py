"""What a sine fit takes along beside the signal: hum of the mains, harmonics of the signal."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from harness.config.model import Table

Mains = Annotated[float, Field(ge=10.0, le=1000.0)]


class FitTerms(Table):
    """Lines that have columns of their own in the fit, so that they bias neither gain nor noise."""

    mains_hz: Mains | None = None
    """Frequency of the mains; None: no hum is looked for."""
    mains_lines: int = Field(default=1, ge=1, le=20)
    """The mains and its multiples, so many in all."""
    harmonics: int = Field(default=0, ge=0, le=20)
    """Harmonics of the signal, from the second on."""

    @model_validator(mode="after")
    def _lines_of_something(self) -> FitTerms:
        if self.mains_hz is None and "mains_lines" in self.model_fields_set:
            raise ValueError("mains_lines goes with mains_hz")
        return self
