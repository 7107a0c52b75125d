"""What all ranges of a golden unit share, from check to check: a small figure for each station."""

from __future__ import annotations

import html
from collections.abc import Sequence

from harness.report.words import decimal
from harness.values import GoldenLook, Outcome

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 1100, 130, 64, 12, 10, 20
LINE, BAD, EDGE, TEXT = "#2f5d8a", "#a3341f", "#8b9398", "#22282c"


def golden_trend_svg(looks: Sequence[GoldenLook]) -> str:
    """The last golden checks of a station.

    Args:
        looks: oldest first; those that are INVALID are no points, those of other units than the newest are left out.
    Returns:
        an `svg` element; empty with fewer than two points.
    """
    points = [look for look in looks if look.outcome is not Outcome.INVALID and look.unit == looks[-1].unit]
    if len(points) < 2:
        return ""
    values = [look.common_percent for look in points]
    least, most = min(*values, 0.0), max(*values, 0.0)
    reach = 0.1 * (most - least) or 0.01
    span = most - least + 2.0 * reach

    def x(place: int) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * place / (len(points) - 1)

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (most + reach - value) / span

    line = " ".join(f"{x(place):.1f},{y(value):.1f}" for place, value in enumerate(values))
    marks = "".join(_mark(x(place), y(look.common_percent), look.outcome) for place, look in enumerate(points))
    scale = "".join(
        f'<text x="{LEFT - 6}" y="{y(value) + 3.5:.1f}" text-anchor="end">{decimal(value)} %</text>'
        for value in dict.fromkeys((least, most))
    )
    said = html.escape(f"Common factor of golden unit {points[-1].unit} over {len(points)} checks, percent")
    return (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" role="img" aria-label="{said}" font-size="10" '
        f'font-family="sans-serif" fill="{TEXT}"><path d="M{LEFT} {y(0.0):.1f}H{WIDTH - RIGHT}" stroke="{EDGE}" '
        f'stroke-dasharray="3 3"/><polyline points="{line}" fill="none" stroke="{LINE}" stroke-width="1.2"/>{marks}'
        f'{scale}<text x="{LEFT}" y="{HEIGHT - 5}">{points[0].at_utc[:16]}Z</text>'
        f'<text x="{WIDTH - RIGHT}" y="{HEIGHT - 5}" text-anchor="end">{points[-1].at_utc[:16]}Z</text></svg>'
    )


def _mark(x: float, y: float, outcome: Outcome) -> str:
    """A dot for a sound check, a ring while the reference is built, a cross for one that has left its history."""
    if outcome is Outcome.FAIL:
        return f'<path d="M{x - 4:.1f} {y - 4:.1f}l8 8m0-8l-8 8" stroke="{BAD}" stroke-width="2"/>'
    fill = "#ffffff" if outcome is Outcome.INCONCLUSIVE else LINE
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.6" fill="{fill}" stroke="{LINE}"/>'
