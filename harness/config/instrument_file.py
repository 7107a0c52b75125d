"""configs/instruments/*.toml: our verbs in an instrument's commands, so that a new instrument needs no Python."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from harness.config.model import Finite, Name, Positive, Table, Versioned

VERBS: dict[str, tuple[str, ...]] = {
    "source": (
        "prepare", "load", "load_query", "frequency", "frequency_query", "level", "level_query",
        "output_on", "output_off", "output_query", "steady", "steady_query",
    ),
    "device": (
        "prepare", "mode_query", "select_coarse", "coarse_query", "select_fine", "fine_query",
        "acquire", "scale_query", "rate_query", "sequence_query", "codes_query", "constant", "constant_query",
        "channels_query", "coarse_list_query", "fine_list_query", "converter_query", "input_limit_query",
    ),
    "adapter": ("arm", "fetch", "load_word"),
    "meter": ("prepare", "level_query"),
    "chamber": ("temperature", "temperature_query", "air_query", "chamber_on"),
    "supply": ("voltage", "voltage_query", "measured_v_query", "measured_a_query", "supply_on"),
    "probe": ("probe_query",),
}  # fmt: skip
COMMON = ("identify", "complete_query", "error_query")
SETTING = ("select_coarse", "coarse_query", "select_fine", "fine_query")
"""Verbs that a bare gain stage lacks, all or none: its words are loaded through the adapter."""
CONSTANT = ("constant", "constant_query")
"""Verbs of a device that keeps correction constants of its ranges, both or none."""
LISTS = ("channels_query", "coarse_list_query", "fine_list_query")
"""Verbs of a device that says which settings it has, all or none."""
FACTS = ("converter_query", "input_limit_query")
"""What else it may say of itself, each by itself."""
STEADY = ("steady", "steady_query")
"""Verbs of a source that puts out steady levels, both or none; `ranges.steady_step_v` with them."""

OPTIONAL = (SETTING, CONSTANT, STEADY, LISTS, *((verb,) for verb in FACTS))


class Ranges(Table):
    """What a source can do, for the load it is told."""

    min_vpk: Positive
    max_vpk: Positive
    min_hz: Positive
    max_hz: Positive
    level_tolerance_percent: Positive = 0.5
    """How far a level read back may be from the one sent."""
    steady_step_v: Positive | None = None
    """Least step of a steady level, V for the load it is told."""


class Expected(Table):
    """The first two fields of the identity."""

    manufacturer: Name
    model: Name


class InstrumentFile(Versioned):
    """One instrument model."""

    kind: Literal["instrument"]
    role: Literal["source", "device", "adapter", "meter", "chamber", "supply", "probe"]
    name: Name
    identity: Expected
    ranges: Ranges | None = None
    span: tuple[Finite, Finite] | None = None
    """What a chamber (°C) or a supply (V) may be set to, lowest and highest."""
    level_unit: Literal["vpp", "vpk", "vrms"] = "vpp"
    high_z_word: Name = "INF"
    high_z_above_ohm: Positive = 9.0e36
    """A load read back at or above this means high-z (SCPI infinity is 9.9E37)."""
    code_type: Literal["int16-little", "int16-big", "volts-little", "volts-big"] = "int16-little"
    """Of the samples in a record: raw codes, or scaled volts in single precision, whose code spacing is looked for."""
    together: bool = False
    """Takes several questions in one message and answers them with semicolons between (IEEE 488.2)."""
    record_together: bool = False
    """The codes of a record may be the last of these answers, as a block."""
    grouped: bool = False
    """Takes a command and the question behind it in one transmission, each on a line of its own."""
    commands: dict[str, str | tuple[str, ...]] = Field(default_factory=dict)
    """Verb to one message or several; placeholders in braces: channel, full_scale_vpp, coarse, percent, fine, samples,
    rate_hz, hz, level, ohm, latch, bits, word, gain_ratio, offset_code, celsius, volts."""

    @property
    def in_volts(self) -> bool:
        """Whether records are scaled volts instead of raw codes."""
        return self.code_type.startswith("volts")

    @model_validator(mode="after")
    def _verbs(self) -> InstrumentFile:
        known = {*COMMON, *VERBS[self.role]}
        given = set(self.commands)
        if given - known:
            raise ValueError(f"in [commands] only {', '.join(sorted(known))}; not {', '.join(sorted(given - known))}")
        optional = {verb for group in OPTIONAL if not given & set(group) for verb in group}
        if known - given - optional:
            raise ValueError(f"in [commands] also {', '.join(sorted(known - given - optional))}")
        if (self.role == "source") != (self.ranges is not None):
            raise ValueError("[ranges] for a source, and only there")
        steps = self.ranges is not None and self.ranges.steady_step_v is not None
        if steps != ("steady" in given):
            raise ValueError("ranges.steady_step_v with the verbs steady and steady_query, and only there")
        if (self.role in ("chamber", "supply")) != (self.span is not None):
            raise ValueError("span for a chamber or a supply, and only there")
        if self.record_together and not (self.together and self.role == "device"):
            raise ValueError("record_together for a device, and only with together = true")
        if self.grouped and not (self.together or self.role == "adapter"):
            raise ValueError("grouped for an adapter, for others only with together = true")
        return self
