"""What all configuration files share: strict tables, a version, a dated list of changes."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Count = Annotated[int, Field(ge=1)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Path = Annotated[str, Field(min_length=1, max_length=1000)]
Text = Annotated[str, Field(min_length=1, max_length=400)]


class Table(BaseModel):
    """A TOML table in which an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Change(Table):
    """Why a version of a file exists."""

    version: int = Field(ge=1)
    date: dt.date
    owner: Name
    reason: Text


class Versioned(Table):
    """The head of each file: format word, version, list of changes (newest last)."""

    version: int = Field(ge=1)
    change: tuple[Change, ...] = Field(min_length=1)
