"""The [export] table of a job: where results go after each unit."""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import Field, model_validator

from harness.config.model import Table

ExportForm = Literal["csv", "json", "junit"]
PLACEHOLDERS = ("unit", "run", "verdict", "folder")
"""Words in braces that an argument of the command may hold, beside the forms."""
_BRACED = re.compile(r"\{([a-z_]+)\}")
Argument = Annotated[str, Field(max_length=1000)]


class Export(Table):
    """Files and a command for each unit; neither ever changes a verdict."""

    folder: str = Field(min_length=1, max_length=1000)
    """Where files go, relative to the working directory like --reports."""
    files: tuple[ExportForm, ...] = Field(min_length=1)
    """`csv` brings a description of its columns along."""
    command: tuple[Argument, ...] = ()
    """Program and arguments, as they are handed over: no shell looks at them; empty: none."""
    timeout_s: float = Field(default=10.0, gt=0, le=600, allow_inf_nan=False)
    """How long the command may take; then it is ended."""

    @model_validator(mode="after")
    def _known(self) -> Export:
        if len(set(self.files)) != len(self.files):
            raise ValueError("each form once")
        if self.command and not self.command[0]:
            raise ValueError("command: a program first")
        known = (*self.files, *PLACEHOLDERS)
        for argument in self.command:
            for name in _BRACED.findall(argument):
                if name not in known:
                    raise ValueError(f"command: {', '.join('{' + one + '}' for one in known)}; got {{{name}}}")
        return self
