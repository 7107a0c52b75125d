"""configs/jobs/*.toml: device, bench, limits, which settings, which way."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from harness.config.export_section import Export
from harness.config.extra_section import Extra
from harness.config.fit_section import FitTerms
from harness.config.model import Name, Path, Table, Versioned
from harness.config.night_section import Anchors, Night
from harness.config.production_section import Production

Fill = Annotated[float, Field(gt=0, lt=1)]


class Ladder(Table):
    """Which settings are visited and at what level; empty lists mean all."""

    channels: tuple[int, ...] = ()
    coarse: tuple[str, ...] = ()
    """Names of ranges."""
    fine: tuple[int, ...] = ()
    """0-based fine positions."""
    file: str = Field(default="", max_length=1000)
    """Ladder file with the settings of each range, relative to the job; empty: the lists above."""
    audit_every: int = Field(default=0, ge=0)
    """With a file: one unit of so many, by its serial number, walks everything all the same; 0: none."""
    directions: tuple[Literal["up", "down"], ...] = Field(default=("up", "down"), min_length=1)
    order: Literal["sorted", "random-blocks"] = "sorted"
    """`random-blocks`: ranges in an order drawn from `order_seed`, fine positions sorted in each: breaks what time and
    setting have in common, at a price in relay toggles."""
    order_seed: int = Field(default=0, ge=0)
    fill_target: Fill = 0.75
    fill_low: Fill = 0.5
    fill_high: Fill = 0.9
    hold_level: bool = False
    """A level stays for several fine positions, where the fill allows it, so that fewer answers are waited for."""

    @model_validator(mode="after")
    def _order(self) -> Ladder:
        if not self.fill_low < self.fill_target < self.fill_high:
            raise ValueError("fill_low < fill_target < fill_high")
        if len(set(self.directions)) != len(self.directions):
            raise ValueError("each direction once")
        if self.file and (self.coarse or self.fine):
            raise ValueError("coarse and fine, or a file with the settings of each range: not both")
        if self.audit_every and not self.file:
            raise ValueError("audit_every only with a file: without one every unit walks the same ladder")
        return self


class Raw(Table):
    """What becomes of waveforms and captures once a run is finished and judged; the numbers they gave always stay."""

    keep: Literal["all", "telling", "none"] = "all"
    """`telling`: of settings that do not pass, of flagged and failed readings, of anchors, every n-th of the rest."""
    every: int = Field(default=0, ge=0)
    """With `telling`: every n-th reading stays too; 0: none."""

    @model_validator(mode="after")
    def _every(self) -> Raw:
        if self.every and self.keep != "telling":
            raise ValueError(f'every goes with keep = "telling", not with {self.keep!r}')
        return self


class Averaging(Table):
    """Several records a setting, as many as its decision needs."""

    most_records: int = Field(default=16, ge=2, le=1000)
    risk: float = Field(default=0.001, gt=0, lt=0.5)
    """Chance that a setting whose records stopped early comes out otherwise than its true mean would."""


class JobFile(Versioned):
    """A whole job."""

    kind: Literal["job"]
    name: Name
    device: Path
    """Device file, relative to this file."""
    bench: Path
    limits: Path
    transport: Literal["in-process", "wire"] | None = None
    """Overrides the simulated bench's own; meaningless on a real bench."""
    ladder: Ladder = Ladder()
    extra: Extra = Extra()
    anchors: Anchors | None = None
    """None: only a resumed run reads settings again."""
    night: Night | None = None
    """None: one sweep of one unit, as things are."""
    production: Production | None = None
    """None: no lock-outs, no counting of retests."""
    retries: int = Field(default=2, ge=0, le=5)
    fit: FitTerms | None = None
    """Lines that the fit of a record takes along; None: as the device file says."""
    averaging: Averaging | None = None
    """None: one record is a reading."""
    overlap: bool = True
    """A sound reading is made durable and announced while the record of the next one is taken."""
    capture_words: bool = True
    raw: Raw = Raw()
    export: Export | None = None
    """What is handed on after each unit; None: nothing."""
    forward: str = ""
    """A store that gets a copy while readings are taken, postgresql://user@server/database; empty: none."""

    @model_validator(mode="after")
    def _audit(self) -> JobFile:
        if self.night is not None and self.ladder.audit_every:
            raise ValueError("no ladder.audit_every with [night]: all units of a night walk the same ladder")
        return self

    @model_validator(mode="after")
    def _line_or_night(self) -> JobFile:
        if self.production is not None and self.night is not None:
            raise ValueError("[production] or [night], not both")
        return self

    @model_validator(mode="after")
    def _units_one_by_one(self) -> JobFile:
        if self.export is not None and self.night is not None:
            raise ValueError("[export] or [night], not both: a night has its own page")
        return self

    @field_validator("forward")
    @classmethod
    def _no_password(cls, url: str) -> str:
        # The text of this file goes into every record of every run.
        before_host = url.partition("://")[2].partition("/")[0].rpartition("@")[0]
        if ":" in before_host or "password=" in url:
            raise ValueError("no password: this file is copied into each record; a password file holds it")
        return url
