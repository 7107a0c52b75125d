"""What a scanner may hand over: a pattern, a check character, an example."""

from __future__ import annotations

import enum
import re
from dataclasses import dataclass
from typing import Literal

from pydantic import Field, model_validator

from harness.config.model import Name, Table
from harness.values.check_digits import CHECKSUMS

LONGEST = 80
"""Characters of a scan; the store's serial numbers are no longer."""
KEPT = "kept"
"""Name of the group of a pattern that is recorded; without it the whole text is."""
CHECKED = "checked"
"""Name of the group of a pattern that the checksum is over; without it the whole text is."""


class Misread(enum.StrEnum):
    """Why a scanned text is not taken."""

    FORM = "form"
    """Another form than the pattern's."""
    CHECKSUM = "checksum"
    """The form is right, the check character is not: a character was misread."""


@dataclass(frozen=True, slots=True)
class Read:
    """A scanned text that was understood."""

    kept: str
    """What is recorded."""


class ScanFormat(Table):
    """How the text of a label is made."""

    pattern: str = Field(min_length=1, max_length=400)
    """Regular expression over the whole text; the group `kept` is recorded, `checked` holds the checksum."""
    checksum: Literal["none", "mod-10", "mod-43", "mod-97"] = "none"
    example: Name
    """A text that is taken, check characters and all."""

    def read(self, text: str) -> Read | Misread:
        """What a text stands for, or why it is not taken."""
        found = re.fullmatch(self.pattern, text, re.ASCII) if len(text) <= LONGEST else None
        if found is None:
            return Misread.FORM
        groups = found.groupdict()
        if not CHECKSUMS[self.checksum](groups.get(CHECKED) or text):
            return Misread.CHECKSUM
        return Read(groups.get(KEPT) or text)

    @model_validator(mode="after")
    def _sound(self) -> ScanFormat:
        try:
            re.compile(self.pattern)
        except re.error as error:
            raise ValueError(f"a regular expression for pattern; {self.pattern!r} is none: {error}") from error
        read = self.read(self.example)
        if read is Misread.FORM:
            raise ValueError(f"an example of the pattern {self.pattern!r}; {self.example!r} is none")
        if read is Misread.CHECKSUM:
            raise ValueError(f"an example whose checksum {self.checksum} is right; that of {self.example!r} is not")
        return self
