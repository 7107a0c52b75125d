"""The settings file of `gainladder learn`: what is known of a device before anything is known of its gain."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from pydantic import Field, model_validator

from harness.config.device_file import Acquisition, Converter, Fine, Input, Settle
from harness.config.model import Name, Positive, Table, Versioned
from harness.values import Setting


class NamedRange(Table):
    """One range as its commands or its panel name it."""

    name: Name
    value: float | str | None = None
    """What the device's commands call the range; full_scale_vpp where nothing else is said."""
    full_scale_vpp: Positive | None = None
    """What the name promises: full converter span at the first fine position, V peak to peak; left out where it
    promises nothing."""


class LoadedWords(Table):
    """The words to be loaded into a bare gain stage, in the place of fine positions."""

    bits: int = Field(ge=2, le=16)
    first: int = Field(default=0, ge=0)
    last: int | None = Field(default=None, ge=0)
    """Left out: the last word that the bits hold."""
    step: int = Field(default=1, ge=1)

    @model_validator(mode="after")
    def _fits(self) -> LoadedWords:
        if not self.first < self.top < 2**self.bits:
            raise ValueError(f"first below last, and last up to {2**self.bits - 1} in {self.bits} bits")
        if self.first + self.step > self.top:
            raise ValueError(f"step up to {self.top - self.first}: one word alone tells nothing")
        return self

    @property
    def top(self) -> int:
        """The last word."""
        return 2**self.bits - 1 if self.last is None else self.last

    def words(self) -> tuple[int, ...]:
        """All words, in order."""
        return tuple(range(self.first, self.top + 1, self.step))


class Probed(Table):
    """What the adapter's inputs are soldered to, as far as that is known."""

    lines: tuple[Name, ...] = Field(min_length=3, max_length=8)
    """Adapter inputs in bit order, by any name."""
    minimum_pulse_ns: float = Field(default=30.0, ge=0.0, allow_inf_nan=False)
    """Shorter pulses are taken for glitches."""
    data: Name | None = None
    """Given only where words are loaded through the adapter: then it must know the wires."""
    clock: Name | None = None
    latches: tuple[Name, ...] = ()
    """In order of the channels, where words are loaded."""


class SettingsFile(Versioned):
    """A device of which only the outside is known."""

    kind: Literal["settings"]
    name: Name
    description: str = ""
    channels: int = Field(ge=1, le=64)
    set_by: Literal["commands", "adapter"] = "commands"
    input: Input
    """Asked for first: nothing is driven beyond it."""
    converter: Converter
    acquisition: Acquisition
    coarse: tuple[NamedRange, ...] = ()
    """Least sensitive first; none where words are loaded."""
    fine: Fine | None = None
    """None where words are loaded."""
    words: LoadedWords | None = None
    """Where words are loaded through the adapter."""
    probed: Probed | None = None
    """None without an adapter: then amplitudes alone must do."""
    settle: Settle

    @model_validator(mode="after")
    def _has_settings(self) -> SettingsFile:
        if self.set_by == "adapter":
            if self.words is None or self.coarse or self.fine is not None:
                raise ValueError('[words] and neither [[coarse]] nor [fine] with set_by = "adapter"')
            named = self.probed is not None and self.probed.data and self.probed.clock
            if self.probed is None or not named or len(self.probed.latches) != self.channels:
                raise ValueError(f"[probed] with data, clock and {self.channels} latches: words are loaded over them")
        elif self.words is not None or not self.coarse or self.fine is None:
            raise ValueError('[[coarse]] and [fine] and no [words] with set_by = "commands"')
        return self

    @model_validator(mode="after")
    def _ranges_in_order(self) -> SettingsFile:
        names = [entry.name for entry in self.coarse]
        if len(set(names)) != len(names):
            raise ValueError("[[coarse]]: each name once")
        scales = [entry.full_scale_vpp for entry in self.coarse if entry.full_scale_vpp is not None]
        if any(after >= before for before, after in pairwise(scales)):
            raise ValueError("[[coarse]]: least sensitive first, each full_scale_vpp less than the one before")
        return self

    @property
    def range_names(self) -> tuple[str, ...]:
        """Each range for people."""
        return tuple(entry.name for entry in self.coarse) or ("words",)

    @property
    def fine_names(self) -> tuple[str, ...]:
        """Each fine position for people."""
        if self.fine is not None:
            return self.fine.names()
        words = self.words.words() if self.words is not None else ()
        digits = (self.words.bits + 3) // 4 if self.words is not None else 1
        return tuple(f"{word:0{digits}X}" for word in words)

    def label(self, setting: Setting) -> str:
        """A setting as people name it."""
        return f"ch{setting.channel} {self.range_names[setting.coarse]} {self.fine_names[setting.fine]}"

    def named_gains(self) -> dict[tuple[int, int], float]:
        """The gain, codes a volt, that each coarse and fine position is named after; empty where names say nothing."""
        if self.fine is None or any(entry.full_scale_vpp is None for entry in self.coarse):
            return {}
        span_codes = 2**self.converter.bits
        return {
            (c, f): span_codes / (float(entry.full_scale_vpp or 1.0) * percent / 100.0)
            for c, entry in enumerate(self.coarse)
            for f, percent in enumerate(self.fine.percents())
        }
