"""The common ground of the plotted figures: look, axes, and SVG that can stand inside a page."""

from __future__ import annotations

import html
import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from harness.report.figures.places import Places
from harness.report.labels import range_name
from harness.report.words import plain
from harness.values import RunResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Edges = tuple[float | None, float | None]
"""Low and high limit; None where there is none."""

INK = "#22282c"
FAINT = "#8b9398"
LIMIT = "#a3341f"
GUARD = "#e9d3a8"
RANGE_COLOURS = ("#2f5d8a", "#96601f", "#2f7d6d", "#7d4f93")
"""Taken in turn: neighbouring ranges differ; the axis names each."""

LOOK: dict[str, Any] = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.0,
    "text.parse_math": False,
    "axes.edgecolor": FAINT,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "axes.labelcolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.unicode_minus": True,
}
"""Text stays text; the font named is the one that measures it, the page's own style decides what is seen."""


@contextmanager
def look(name: str) -> Iterator[None]:
    """The settings under which one figure is drawn and written.

    Args:
        name: of the figure; part of its element names, which must differ between the figures of a page.
    Returns:
        a context.
    """
    import matplotlib as mpl

    settings: Any = {**LOOK, "svg.hashsalt": f"gainladder-{name}"}
    with mpl.rc_context(settings), warnings.catch_warnings():
        # A range may be named in letters that the measuring font lacks; the reader's font has them.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        yield


def inline_svg(figure: Figure, *, label: str) -> str:
    """A figure as an element of a page.

    Args:
        figure: drawn inside `look`.
        label: what it shows, for those who cannot see it.
    Returns:
        an `svg` element without names of its own, except those it refers to.
    """
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return inlined(out.getvalue(), label=label)


def inlined(svg: str, *, label: str) -> str:
    """A drawing that stands alone, as an element of a page.

    Args:
        svg: a whole file, as the plotting library writes it.
        label: what it shows, for those who cannot see it.
    Returns:
        an `svg` element without names of its own, except those it refers to, and without rules for the page.
    """
    svg = svg[svg.index("<svg") :]
    head, body = svg.split(">", 1)
    # Its rule for all lines would hold for every figure of the page: round dots of others would lose their ends.
    body = _RULE.sub("", body, count=1)
    box = re.search(r'viewBox="[^"]*"', head)
    body = re.sub(r'<g id="[^"]*"', "<g", body)
    body = re.sub(r' (x|y)="(-?\d+\.\d\d)\d*"', r' \1="\2"', body)
    body = re.sub(r' d="[^"]*"', lambda path: re.sub(r"(\.\d\d)\d+", r"\1", path[0].replace(" \n", " ")), body)
    body = re.sub(r">\s+<", "><", body)
    body = _ALIKE.sub(_share_style, body)
    if body.count("<use ") > MANY_MARKS:
        body = _packed(body)
    lines = 'stroke-linejoin="round" stroke-linecap="butt"'
    return f'<svg {box[0] if box else ""} {lines} role="img" aria-label="{html.escape(plain(label))}">{body.rstrip()}'


_RULE = re.compile(r"<defs>\s*<style[^>]*>[^<]*</style>\s*</defs>")


_ALIKE = re.compile(r'<use [^>]*( style="[^"]*")/>(?:<use [^>]*\1/>)+')
"""Marks that follow each other in one style."""


def _share_style(marks: re.Match[str]) -> str:
    """Their style said once: a page of a thousand settings has five thousand marks."""
    return f"<g{marks[1]}>{marks[0].replace(marks[1], '')}</g>"


def _packed(body: str) -> str:
    """Filled round marks of one colour as one path of dots: a quarter of the weight, and the same to look at."""
    radii = dict(_ROUND.findall(body))

    def dots(marks: re.Match[str]) -> str:
        colour, name, uses = marks.groups()
        if name not in radii:
            return marks[0]
        places = "".join(f"M{float(x):.1f} {float(y):.1f}h0" for x, y in _PLACE.findall(uses))
        width = f"{2.0 * float(radii[name]):.4g}"
        return f'<path d="{places}" stroke="{colour}" stroke-width="{width}" stroke-linecap="round" fill="none"/>'

    return _FILLED.sub(dots, body)


MANY_MARKS = 2_000
"""Of one figure; from there on its marks weigh more than a page may."""
_ROUND = re.compile(r'<path id="(\w+)" d="M 0 (\d+\.?\d*) C[^"]*"/>')
_FILLED = re.compile(r'<g style="fill: (#\w+)">(?=<use xlink:href="#(\w+)")((?:<use [^>]*/>)+)</g>')
_PLACE = re.compile(r' x="([^"]*)" y="([^"]*)"')


def mark_ranges(axes: Axes, places: Places, result: RunResult, *, named: bool) -> None:
    """Shade every other range, and name them below.

    Args:
        axes: of one panel.
        places: the horizontal axis.
        result: of the run, for the names.
        named: whether the names are written.
    """
    for number, (_, first, last) in enumerate(places.ranges):
        if number % 2:
            axes.axvspan(first - 1.5, last + 1.5, color="#f3f3f0", linewidth=0.0, zorder=0)
    axes.set_xlim(-1.5, places.ranges[-1][2] + 1.5)
    axes.set_xticks([(first + last) / 2.0 for _, first, last in places.ranges])
    names = [plain(range_name(coarse, result)) for coarse, _, _ in places.ranges]
    axes.set_xticklabels(names if named else [""] * len(names))
    axes.tick_params(axis="x", length=0)


def draw_limits(axes: Axes, limits_percent: Edges, guard_percent: float) -> None:
    """Draw limits as lines and the guard band as a band around each.

    Args:
        axes: of one panel.
        limits_percent: low and high, percent; None draws no line.
        guard_percent: half width of the band, percent.
    """
    for edge_percent in limits_percent:
        if edge_percent is None:
            continue
        if guard_percent > 0.0:
            low_percent, high_percent = edge_percent - guard_percent, edge_percent + guard_percent
            axes.axhspan(low_percent, high_percent, color=GUARD, linewidth=0.0, zorder=1)
        axes.axhline(edge_percent, color=LIMIT, linewidth=0.9, zorder=2)
    axes.axhline(0.0, color=FAINT, linewidth=0.5, zorder=2)


def scale_percent(values_percent: list[float], limits_percent: Edges) -> tuple[float, float]:
    """How far the vertical axis reaches: the limits always in view, gross failures never flatten the rest.

    Args:
        values_percent: what is drawn, percent.
        limits_percent: low and high, percent; with neither the values decide.
    Returns:
        lowest and highest percent in view; values beyond are drawn at the edge.
    """
    limit = max((abs(edge) for edge in limits_percent if edge is not None), default=0.0)
    seen = max((abs(value) for value in values_percent), default=0.0)
    if limit == 0.0:
        limit = max(seen, 0.1)
    reach = 1.15 * min(max(limit * 1.3, seen), limit * 2.0)
    return -reach, reach
