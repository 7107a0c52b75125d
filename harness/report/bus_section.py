"""The control bus of a run: one frame, distances against limits, the bound on wrong frames."""

from __future__ import annotations

from dataclasses import dataclass

from harness.report.bus_page import bus_svg
from harness.report.figures.canvas import inlined
from harness.values import BusDistance, BusRecord, RunResult


@dataclass(frozen=True, slots=True, kw_only=True)
class DistanceLine:
    """One distance of one channel as text."""

    channel: str
    name: str
    count: int
    smallest: str
    mean: str
    limit: str
    margin: str
    below: int
    """How often it was below the limit."""
    where: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BusSection:
    """What the page shows of the bus."""

    figure: str
    """SVG of one frame with the histograms of setup and hold, of the first channel; empty without captures."""
    lines: tuple[DistanceLine, ...]
    bounds: tuple[str, ...]
    """One sentence a channel."""


def bus_section(result: RunResult) -> BusSection:
    """How the control bus looked in a run.

    Args:
        result: of a run.
    Returns:
        figure, table and sentences; all empty for a run without captures.
    """
    if not result.bus:
        return BusSection(figure="", lines=(), bounds=())
    first = result.bus[0]
    svg = bus_svg(first.frame, first.word, first, first.timing)
    return BusSection(
        figure=inlined(svg, label=f"One frame on the control bus of channel {first.channel}, and how far data keeps"),
        lines=tuple(_line(record, d) for record in result.bus for d in record.timing.distances if d.count),
        bounds=tuple(_bound(record) for record in result.bus),
    )


def _line(record: BusRecord, distance: BusDistance) -> DistanceLine:
    return DistanceLine(
        channel=f"ch{record.channel}",
        name=distance.name,
        count=distance.count,
        smallest=f"{distance.minimum_ns:g}",
        mean=f"{distance.mean_ns:.4g}",
        limit="" if distance.limit_ns is None else f"{distance.limit_ns:g}",
        margin="" if distance.margin_ns is None else f"{distance.margin_ns:+g}",
        below=distance.violations,
        where="" if distance.minimum_in is None else f"reading {distance.minimum_in}",
    )


def _bound(record: BusRecord) -> str:
    timing = record.timing
    glitches = sum(count for _, count in timing.glitches)
    said = f"ch{record.channel}: {record.captures} captures, {timing.sound_words} sound frames, {glitches} glitches"
    if timing.clock_hz is not None:
        limit = "" if timing.clock_limit_hz is None else f" (allowed {timing.clock_limit_hz:g} Hz)"
        said += f", fastest clock {timing.clock_hz:.6g} Hz{limit}"
    if timing.error_bound_ratio is not None:
        said += f"; at most {timing.error_bound_ratio:.3g} of all frames are wrong, at 95 % confidence"
    return f"{said}."
