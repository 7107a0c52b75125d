"""A strip of one claim's numbers, side by side, against its limits: small enough to stand in a row of a test report."""

from __future__ import annotations

import html
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from harness.report.words import decimal, plain
from harness.values import Outcome

HEIGHT, TOP, BOTTOM, LEFT, RIGHT = 170, 14, 38, 76, 12
LEAST_WIDTH, MOST_WIDTH, STEP = 420, 900, 30
DENSE, DENSE_WIDTH = 60, 560
"""From so many points on those that pass are one path, without a text each, in a figure that fits half a page."""
LETTER = 6.2
"""Width of a letter."""
LINE = 11.0
"""Height of a line of text."""
SHORT_UNIT = 5
"""Letters of a unit that stands beside each number; a longer one stands once above them."""
REACH = 1.25
"""The scale reaches so far beyond the limits, or beyond the numbers where those go further, up to MOST_REACH."""
MOST_REACH = 2.0
"""Gross failures are drawn at the edge, so that the others stay apart."""
COLOURS = {
    Outcome.PASS: "#2f5d8a",
    Outcome.FAIL: "#a3341f",
    Outcome.INCONCLUSIVE: "#84560a",
    Outcome.INVALID: "#565d63",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StripPoint:
    """One number of a claim."""

    label: str
    """The place in words."""
    short: str
    """What stands below it."""
    value: float
    low: float | None
    high: float | None
    guard: float
    outcome: Outcome
    half: float | None
    """Expanded uncertainty; None for no bar."""


def strip_svg(points: Sequence[StripPoint], *, unit: str, label: str) -> str:
    """A claim's numbers against their limits.

    Args:
        points: in order of the ladder.
        unit: of the numbers, as it is written.
        label: what it shows, for those who cannot see it.
    Returns:
        an `svg` element whose points carry their numbers as `data-value`, or of many points those that pass together
        as `data-values`; empty without points.
    """
    if not points:
        return ""
    low, high = _scale(points)
    text_width = int(LETTER * max(len(point.short) for point in points)) + 10
    roomy = LEFT + RIGHT + max(STEP, text_width) * len(points)
    width = max(roomy if roomy <= MOST_WIDTH else min(LEFT + RIGHT + STEP * len(points), MOST_WIDTH), LEAST_WIDTH)
    dense = len(points) > DENSE
    width = DENSE_WIDTH if dense else width
    step = (width - LEFT - RIGHT) / len(points)

    def y(value: float) -> float:
        inside = min(max(value, low), high)
        return TOP + (high - inside) / (high - low) * (HEIGHT - TOP - BOTTOM)

    parts = [
        f'<svg viewBox="0 0 {width} {HEIGHT}" width="{width}" height="{HEIGHT}" role="img" '
        f'aria-label="{html.escape(plain(label))}" style="background:#fff;font:11px system-ui,sans-serif">'
    ]
    for (edges, guard), first, count in _alike(points):
        left, right = LEFT + first * step, LEFT + (first + count) * step
        for edge in edges:
            if edge is not None:
                if guard > 0.0:
                    top, bottom = y(edge + guard), y(edge - guard)
                    parts.append(_rect(left, top, right - left, bottom - top))
                parts.append(_line(left, y(edge), right, y(edge), "#a3341f", 1.4))
    parts.append(_line(LEFT, y(0.0), width - RIGHT, y(0.0), "#8b9398", 0.6) if low < 0.0 < high else "")
    placed = [(point, LEFT + (number + 0.5) * step) for number, point in enumerate(points)]
    quiet = [(point, x) for point, x in placed if dense and _passes(point, low, high)]
    parts += _course(quiet, y)
    parts += [_point(point, x, y, low, high) for point, x in placed if not (dense and _passes(point, low, high))]
    parts += _axis(points, step, y, unit, every=max(1, -(-text_width // max(int(step), 1))))
    return "".join(parts) + "</svg>"


def _scale(points: Sequence[StripPoint]) -> tuple[float, float]:
    edges = [edge for point in points for edge in (point.low, point.high) if edge is not None]
    sizes = [abs(edge) for edge in edges]
    limit = max(sizes) if sizes else 0.0
    # Without limits nothing but the bars says how much a value may be off.
    seen = max(abs(point.value) + (0.0 if sizes else point.half or 0.0) for point in points)
    reach = REACH * (min(max(limit, seen), MOST_REACH * limit) if limit > 0.0 else seen or 1.0)
    one_sided = all(value >= 0.0 for value in [*edges, *(point.value for point in points)])
    return (0.0 if one_sided else -reach), reach


def _passes(point: StripPoint, low: float, high: float) -> bool:
    return point.outcome is Outcome.PASS and low <= point.value <= high


def _alike(
    points: Sequence[StripPoint],
) -> list[tuple[tuple[tuple[float | None, float | None], float], int, int]]:
    """Runs of points with the same limits and guard band: these, the first point, how many."""
    found = []
    first = 0
    for key, run in itertools.groupby(points, key=lambda point: ((point.low, point.high), point.guard)):
        count = len(list(run))
        found.append((key, first, count))
        first += count
    return found


def _course(placed: Sequence[tuple[StripPoint, float]], y: Callable[[float], float]) -> list[str]:
    """Many points that pass, as one path, and their bars as another."""
    if not placed:
        return []
    colour = COLOURS[Outcome.PASS]
    dots = "".join(f"M{x:.1f} {y(point.value):.1f}h0" for point, x in placed)
    bars = "".join(
        f"M{x:.1f} {y(point.value + point.half):.1f}V{y(point.value - point.half):.1f}"
        for point, x in placed
        if point.half is not None
    )
    values = " ".join(f"{point.value:.6g}" for point, _ in placed)
    drawn = [f'<path d="{bars}" stroke="{colour}"/>'] if bars else []
    return [
        *drawn, f'<path data-values="{values}" d="{dots}" stroke="{colour}" stroke-width="4" stroke-linecap="round"/>',
    ]  # fmt: skip


def _rect(x: float, y: float, width: float, height: float) -> str:
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="#e9d3a8"/>'


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, width: float) -> str:
    return f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" stroke="{colour}" stroke-width="{width}"/>'


def _point(point: StripPoint, x: float, y: Callable[[float], float], low: float, high: float) -> str:
    place = y(point.value)
    colour = COLOURS[point.outcome]
    bar = ""
    if point.half is not None and low <= point.value <= high:
        bar = _line(x, y(point.value + point.half), x, y(point.value - point.half), colour, 1.0)
    if not low <= point.value <= high:
        tip = -7 if point.value > high else 7
        mark = f'<path d="M{x - 5:.1f} {place:.1f}h10l-5 {tip}z" fill="{colour}"/>'
    elif point.outcome is Outcome.PASS:
        mark = f'<circle cx="{x:.1f}" cy="{place:.1f}" r="3" fill="{colour}"/>'
    elif point.outcome is Outcome.FAIL:
        mark = f'<path d="M{x - 4:.1f} {place - 4:.1f}l8 8m0-8l-8 8" stroke="{colour}" stroke-width="2"/>'
    else:
        mark = f'<path d="M{x:.1f} {place - 5:.1f}l5 5-5 5-5-5z" fill="#fff" stroke="{colour}" stroke-width="1.6"/>'
    title = html.escape(plain(f"{point.label}: {point.value:.6g}, {point.outcome}"))
    return f'<g data-value="{point.value!r}"><title>{title}</title>{bar}{mark}</g>'


def _apart(values: Sequence[float], y: Callable[[float], float]) -> list[float]:
    """Those that can be written without one standing on another, the first ones kept."""
    kept: list[float] = []
    for value in values:
        if all(abs(y(value) - y(other)) >= LINE for other in kept):
            kept.append(value)
    return kept


def _axis(
    points: Sequence[StripPoint], step: float, y: Callable[[float], float], unit: str, *, every: int
) -> list[str]:
    edges = {edge for point in points for edge in (point.low, point.high) if edge is not None}
    marks = _apart(sorted((edges or {max((point.value for point in points), key=abs)}) | {0.0}, key=abs), y)
    beside = f" {unit}" if len(unit) <= SHORT_UNIT else ""
    texts = [
        f'<text x="{LEFT - 6}" y="{y(value) + 4:.1f}" text-anchor="end" fill="#22282c">'
        f"{decimal(value, digits=2, signed=value != 0.0)}{html.escape(plain(beside))}</text>"
        for value in marks
    ]
    if not beside:
        texts.append(f'<text x="4" y="{TOP - 3}" fill="#22282c">{html.escape(plain(unit))}</text>')
    texts += [
        f'<text x="{LEFT + (number + 0.5) * step:.1f}" y="{HEIGHT - 7}" text-anchor="middle" fill="#22282c">'
        f"{html.escape(plain(point.short))}</text>"
        for number, point in enumerate(points)
        if number % every == 0
    ]
    return texts
