"""Light panels of points, side by side: plain SVG without a plotting library, for figures of a thousand points."""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from harness.report.words import plain

WIDTH, GAP, TOP, BOTTOM, LEFT, RIGHT = 1056, 22, 22, 36, 80, 10
MOST_COLUMNS = 4
INK, FAINT = "#22282c", "#8b9398"


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One axis of all panels."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    """Place and text."""
    name: str
    logarithmic: bool = False

    def share(self, value: float) -> float:
        """Where a value lies between the ends.

        Args:
            value: in the axis's unit; beyond the ends it counts as at the end.
        Returns:
            0 at the low end, 1 at the high end.
        """
        inside = min(max(value, self.low), self.high)
        if self.logarithmic:
            return math.log(inside / self.low) / math.log(self.high / self.low)
        return (inside - self.low) / (self.high - self.low)


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelPoint:
    """One mark."""

    x: float
    y: float
    colour: str
    mark: str = "dot"
    """dot or cross."""
    title: str = ""
    """For the pointer; a mark with one is an element of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One panel: marks, straight lines, shaded spans of x."""

    title: str
    points: tuple[PanelPoint, ...]
    lines: tuple[tuple[float, float, float, float, str], ...] = ()
    """x, y to x, y, and a colour."""
    shaded: tuple[tuple[float, float], ...] = ()
    courses: tuple[tuple[tuple[tuple[float, float], ...], str], ...] = ()
    """Each a line through points, and its colour."""


def panels_svg(
    panels: Sequence[Panel], *, x: Axis, y: Axis, label: str, height: int = 190, columns: int = MOST_COLUMNS
) -> str:
    """Panels of one scale.

    Args:
        panels: in reading order.
        x: of all panels.
        y: of all panels.
        label: what it shows, for those who cannot see it.
        height: of one panel, in the figure's own unit; its width follows from the number of columns.
        columns: most panels in a row.
    Returns:
        an `svg` element without names of its own; empty without panels.
    """
    if not panels:
        return ""
    across = min(len(panels), columns)
    rows = -(-len(panels) // across)
    width = (WIDTH - LEFT - RIGHT - GAP * (across - 1)) / across
    step_y = height + TOP + BOTTOM
    parts = [f'<svg viewBox="0 0 {WIDTH} {rows * step_y}" role="img" aria-label="{_escaped(label)}" font-size="11">']
    for number, panel in enumerate(panels):
        column, row = number % across, number // across
        place = (LEFT + column * (width + GAP), TOP + row * step_y, width, float(height))
        parts.append(_panel(panel, place, x, y, first=column == 0))
    return "".join(parts) + "</svg>"


Box = tuple[float, float, float, float]
"""Left, top, width, height."""


def _panel(panel: Panel, box: Box, x: Axis, y: Axis, *, first: bool) -> str:
    left, top, width, height = box
    bottom = top + height

    def at(px: float, py: float) -> tuple[float, float]:
        return left + x.share(px) * width, bottom - y.share(py) * height

    parts = [f'<text x="{left:.0f}" y="{top - 8:.0f}" font-weight="600" fill="{INK}">{_escaped(panel.title)}</text>']
    for low, high in panel.shaded:
        (from_x, _), (to_x, _) = at(low, y.low), at(high, y.low)
        parts.append(f'<rect x="{from_x:.1f}" y="{top}" width="{to_x - from_x:.1f}" height="{height}" fill="#f3f3f0"/>')
    for x1, y1, x2, y2, colour in panel.lines:
        (ax, ay), (bx, by) = at(x1, y1), at(x2, y2)
        parts.append(f'<path d="M{ax:.1f} {ay:.1f}L{bx:.1f} {by:.1f}" stroke="{colour}" fill="none"/>')
    for points, colour in panel.courses:
        path = "L".join(f"{px:.1f} {py:.1f}" for px, py in (at(*point) for point in points))
        parts.append(f'<path d="M{path}" stroke="{colour}" stroke-width=".8" fill="none"/>')
    parts.append(f'<path d="M{left:.1f} {top}V{bottom}H{left + width:.1f}" stroke="{FAINT}" fill="none"/>')
    parts += _marks(panel.points, at)
    if not panel.points and not panel.lines:
        middle_x, middle_y = left + width / 2, top + height / 2
        parts.append(_text(middle_x, middle_y, "none", anchor="middle"))
    for value, text in x.ticks:
        px, _ = at(value, y.low)
        parts.append(_text(px, bottom + 14.0, text, anchor="middle"))
    if first:
        for value, text in y.ticks:
            _, py = at(x.low, value)
            parts.append(_text(left - 5.0, py + 4.0, text, anchor="end"))
        parts.append(_text(11.0, top + height / 2, y.name, anchor="middle", turned=True))
    parts.append(_text(left + width / 2, bottom + 29.0, x.name, anchor="middle"))
    return "".join(parts)


def _text(x: float, y: float, text: str, *, anchor: str, turned: bool = False) -> str:
    turn = f' transform="rotate(-90 {x:.1f} {y:.1f})"' if turned else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{INK}"{turn}>{_escaped(text)}</text>'


def _marks(points: Sequence[PanelPoint], at: Callable[[float, float], tuple[float, float]]) -> list[str]:
    """All untitled marks of one colour and kind in one path, for an element each would weigh three times as much."""
    groups: dict[tuple[str, str], list[str]] = {}
    titled: dict[tuple[str, str], list[str]] = {}
    for point in points:
        px, py = at(point.x, point.y)
        shape = f"M{px - 3:.1f} {py - 3:.1f}l6 6m0-6l-6 6" if point.mark == "cross" else f"M{px:.1f} {py:.1f}h.1"
        if point.title:
            element = f'<path d="{shape}"><title>{_escaped(point.title)}</title></path>'
            titled.setdefault((point.colour, point.mark), []).append(element)
        else:
            groups.setdefault((point.colour, point.mark), []).append(shape)
    plain_marks = [f'<path d="{"".join(shapes)}" {_pen(*key)}/>' for key, shapes in groups.items()]
    return plain_marks + [f"<g {_pen(*key)}>{''.join(elements)}</g>" for key, elements in titled.items()]


def _pen(colour: str, mark: str) -> str:
    width = 'stroke-width="1.6"' if mark == "cross" else 'stroke-width="4" stroke-linecap="round"'
    return f'stroke="{colour}" fill="none" {width}'


def _escaped(text: str) -> str:
    return html.escape(plain(text))
