"""What a design covers: every sensitivity, where ranges overlap or leave gaps, what the converter makes of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageRow:
    """One coarse and fine position; all channels are alike."""

    coarse: int
    fine: int
    name: str
    """Such as `50mV 70 %`."""
    gain_codes_per_v: float
    """Arithmetic included."""
    gain_db: float
    """The same as a voltage gain from the input to the converter."""
    scale_vpp: float
    """Input that spans the whole converter, by the gain really taken."""
    nominal_scale_vpp: float
    """By its name."""
    common_percent: float
    """Half width of 100 · ln G by tolerances that move all settings alike."""
    independent_percent: float
    """Half width of 100 · ln G by all other tolerances."""
    step_db: float | None
    """From the fine position before; None for the first."""
    needed_vpk: float
    """Level of the source for the wanted fill."""
    drive_vpk: float
    """The nearest that may be set."""
    fill_ratio: float
    """Signal span over converter span there."""
    bits_used: float
    """log2 of the codes that the signal spans, arithmetic taken off."""
    reachable: bool
    """Whether source, bench and device permit a level of allowed fill."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageRange:
    """One range."""

    name: str
    least_scale_vpp: float
    """At its most sensitive fine position."""
    most_scale_vpp: float
    """At its least sensitive one."""
    span_db: float
    largest_step_db: float | None
    """Between its fine positions; None where it has one only."""
    distinct: int
    """Different gains among its fine positions."""
    overlap_db: float | None
    """With the next more sensitive range; negative: a gap that no setting covers; None for the last."""
    gap: bool
    """Whether the gap to the next range is wider than the largest step of either."""
    least_fill_ratio: float
    most_fill_ratio: float
    least_bits_used: float
    unreachable: int
    """Fine positions that no permitted level fills as wanted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """A whole device on a bench."""

    rows: tuple[CoverageRow, ...]
    ranges: tuple[CoverageRange, ...]
    least_scale_vpp: float
    most_scale_vpp: float
    span_db: float
    largest_step_db: float
    """Between neighbours among all gains of the device, in order of gain."""
    largest_step_at: str
    """The two settings of that step."""
    unreachable: int
    fill_low_ratio: float
    fill_high_ratio: float
    """What the job allows."""
