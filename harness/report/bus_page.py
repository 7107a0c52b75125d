"""The control bus as a figure: one frame, and the histograms of setup and hold."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from harness.report.figures.canvas import FAINT, INK, LIMIT, RANGE_COLOURS, look
from harness.values import BusDistance, BusTiming, Capture, LatchedWord

if TYPE_CHECKING:
    from matplotlib.axes import Axes


class Lines(Protocol):
    """Which line is what; the bus wiring has it."""

    @property
    def data(self) -> str:
        """Name of the data line."""

    @property
    def clock(self) -> str:
        """Name of the clock line."""

    @property
    def clock_rising(self) -> bool:
        """Whether data counts at the rising edge."""


def bus_svg(frame: Capture | None, word: LatchedWord | None, wiring: Lines, timing: BusTiming) -> str:
    """How a frame looks on the wire, and how far data keeps from the clock.

    Args:
        frame: the events of one frame; None when there was no sound one.
        word: the word that it holds.
        wiring: which line is what.
        timing: distances, with the histograms of setup and hold.
    Returns:
        a whole SVG file.
    """
    from matplotlib.figure import Figure

    with look("bus"):
        figure = Figure(figsize=(9.0, 5.6), layout="constrained")
        axes = figure.subplot_mosaic([["frame", "frame"], ["setup", "hold"]], height_ratios=(1.5, 1.0))
        _frame(axes["frame"], frame, word, wiring)
        for name in ("setup", "hold"):
            _histogram(axes[name], timing.distance(name), timing.resolution_ns)
        buffer = io.StringIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    return buffer.getvalue()


def _frame(axes: Axes, frame: Capture | None, word: LatchedWord | None, wiring: Lines) -> None:
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    if frame is None or word is None or frame.times_ns.size == 0:
        axes.set_title("no sound frame in this capture", loc="left")
        axes.set_xticks([])
        return
    times_us = frame.times_ns / 1000.0
    edge_us = 0.03 * float(times_us[-1] - times_us[0] + 0.001)
    steps_us = np.concatenate(([times_us[0] - edge_us], times_us, [times_us[-1] + edge_us]))
    shown = [wiring.data, wiring.clock, *word.latches]
    for row, name in enumerate(reversed(shown)):
        bit = frame.lines.index(name)
        levels = np.concatenate(([frame.initial], frame.levels, frame.levels[-1:])) >> bit & 1
        colour = RANGE_COLOURS[row % len(RANGE_COLOURS)]
        axes.step(steps_us, 1.5 * row + levels, where="post", color=colour, linewidth=1.2)
        axes.text(steps_us[0], 1.5 * row + 0.5, f"{name} ", ha="right", va="center")
    top = 1.5 * len(shown) - 0.35
    axes.set_ylim(-0.2, top + 0.5)
    _bits(axes, frame, word, wiring, top=top)
    value = "unknown" if word.value is None else f"0x{word.value:0{-(-word.bits // 4)}x}"
    axes.set_title(f"word {value}, {word.bits} bits, taken by {' and '.join(word.latches)}", loc="left")
    axes.set_xlabel("time, µs")


def _bits(axes: Axes, frame: Capture, word: LatchedWord, wiring: Lines, *, top: float) -> None:
    """The bits above their clock edges."""
    if word.value is None:
        return
    clock = np.concatenate(([frame.initial], frame.levels)) >> frame.lines.index(wiring.clock) & 1
    rises = np.diff(clock.astype(np.int8)) == (1 if wiring.clock_rising else -1)
    edges_ns = frame.times_ns[rises & (frame.times_ns < word.time_ns)][-word.bits :]
    for at_ns, bit in zip(edges_ns.tolist(), f"{word.value:0{word.bits}b}"[-edges_ns.size :], strict=False):
        axes.axvline(at_ns / 1000.0, color=FAINT, linewidth=0.5, zorder=0)
        axes.text(at_ns / 1000.0, top, bit, ha="center", va="bottom", color=INK)


def _histogram(axes: Axes, distance: BusDistance, resolution_ns: float) -> None:
    title: dict[str, Any] = {"loc": "left"}
    if not distance.histogram or distance.minimum_ns is None:
        axes.set_title(f"{distance.name}: not seen", **title)
        axes.set_xticks([])
        axes.set_yticks([])
        return
    values = np.array([max(start, 0.5 * resolution_ns) for start, _ in distance.histogram])
    counts = np.array([count for _, count in distance.histogram])
    low, high = float(values.min()) * 0.8, float(values.max()) * 1.25
    if distance.limit_ns:
        low, high = min(low, 0.8 * distance.limit_ns), max(high, 1.25 * distance.limit_ns)
    axes.hist(values, bins=np.geomspace(low, high, 40).tolist(), weights=counts, color=RANGE_COLOURS[0])
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.xaxis.set_minor_formatter(lambda _, __: "")
    if distance.limit_ns:
        axes.axvline(distance.limit_ns, color=LIMIT, linewidth=1.2)
        margin = f", limit {distance.limit_ns:g} ns, margin {distance.margin_ns:+.3g} ns"
    else:
        margin = ", no limit"
    axes.set_title(f"{distance.name}: smallest {distance.minimum_ns:.4g} ns{margin}", **title)
    axes.set_xlabel("ns")
    axes.set_ylabel("edges")
