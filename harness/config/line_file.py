"""configs/lines/*.toml: a place at the end of the line: what is measured there, who scans what, in which language."""

from __future__ import annotations

import ipaddress
from typing import Literal

from pydantic import Field, model_validator

from harness.config.model import Name, Path, Positive, Table, Versioned
from harness.config.scan_format import Misread, ScanFormat


class Routing(Table):
    """Whether a unit is due at this place; without file and command each one is."""

    file: str = Field(default="", max_length=1000)
    """CSV with the columns serial, job and previous, relative to this file; read anew for each unit."""
    command: tuple[str, ...] = ()
    """Program and arguments; serial number and name of the job are appended. Exit code 0: due."""
    timeout_s: Positive = 5.0
    """The command may take so long; then the unit is not due."""
    again: bool = False
    """Whether a unit that has passed here may be measured once more."""


class LineFile(Versioned):
    """A whole place."""

    kind: Literal["line"]
    name: Name
    job: Path
    """Job file, relative to this file; it has [production]."""
    store: Path = "../../reports/gainladder.sqlite"
    """Where runs are recorded: a file relative to this one, or a URL."""
    reports: Path = "../../reports"
    """Where pages go, relative to this file; what the place remembers is in the folder `line` in it."""
    language: str = Field(default="en", pattern=r"^([a-z]{2}|.+\.toml)$")
    """One that comes along, or a file of texts, relative to this file."""
    host: str = Field(default="127.0.0.1", min_length=1, max_length=253)
    """Address that the page is served at; any but the computer's own needs a token."""
    port: int = Field(default=8710, ge=0, le=65535)
    """0: one that is free."""
    token_file: str = Field(default="", max_length=1000)
    """A file with the token that a browser must know, relative to this one; its text goes into no record."""
    takt_s: Positive | None = None
    """Time that the line gives a unit; None: not shown."""
    badge: ScanFormat
    serial: ScanFormat
    routing: Routing = Routing()

    @property
    def is_own(self) -> bool:
        """Whether only this computer can reach the page."""
        if self.host == "localhost":
            return True
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return False

    @model_validator(mode="after")
    def _told_apart(self) -> LineFile:
        for name, one, other in (("badge", self.badge, self.serial), ("serial", self.serial, self.badge)):
            if not isinstance(other.read(one.example), Misread):
                raise ValueError(
                    f"patterns that tell a badge from a unit: {name}.example {one.example!r} would be taken for both"
                )
        return self

    @model_validator(mode="after")
    def _token(self) -> LineFile:
        if not self.is_own and not self.token_file:
            raise ValueError(
                f"token_file where host is not the computer's own: whoever reaches {self.host} could start and stop"
                ' the bench; host = "127.0.0.1" needs none'
            )
        return self
