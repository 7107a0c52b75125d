"""A weighted mean over the units with its limits: one small figure for each number that is followed."""

from __future__ import annotations

import html

from harness.report.words import decimal
from harness.values import Followed

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 900, 150, 64, 10, 10, 24
INSIDE, OUTSIDE, BAND, EDGE, TEXT = "#2f5d8a", "#a3341f", "#e4eaee", "#8b9398", "#22282c"


def weighted_svg(one: Followed) -> str:
    """The chart of a number.

    Args:
        one: the number; its points oldest first.
    Returns:
        an `svg` element; empty where there is no chart.
    """
    if not one.weighted:
        return ""
    lows = [one.centre - half for half in one.half]
    highs = [one.centre + half for half in one.half]
    least, most = min(*lows, *one.weighted), max(*highs, *one.weighted)
    reach = 0.06 * (most - least)
    count = len(one.weighted)

    def x(place: int) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * place / max(count - 1, 1)

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (most + reach - value) / (most - least + 2.0 * reach)

    def path(values: list[float]) -> str:
        return " ".join(f"{x(place):.1f},{y(value):.1f}" for place, value in enumerate(values))

    back = " ".join(f"{x(place):.1f},{y(lows[place]):.1f}" for place in reversed(range(count)))
    dots = "".join(
        f'<circle cx="{x(place):.1f}" cy="{y(value):.1f}" r="2.4" fill="{OUTSIDE}"/>'
        for place, value in enumerate(one.weighted)
        if not lows[place] <= value <= highs[place]
    )
    marks = "".join(
        f'<text x="{LEFT - 6}" y="{y(value) + 3.5:.1f}" text-anchor="end">{decimal(value)}</text>'
        for value in (lows[-1], one.centre, highs[-1])
    )
    said = f"Weighted mean of {one.name} over {one.count} units, {one.excursions} times outside its limits"
    label = html.escape(said)
    return (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" role="img" aria-label="{label}" font-size="10" '
        f'font-family="sans-serif" fill="{TEXT}"><polygon points="{path(highs)} {back}" fill="{BAND}"/>'
        f'<path d="M{LEFT} {y(one.centre):.1f}H{WIDTH - RIGHT}" stroke="{EDGE}" stroke-dasharray="3 3"/>'
        f'<polyline points="{path(list(one.weighted))}" fill="none" stroke="{INSIDE}" stroke-width="1.2"/>{dots}{marks}'
        f'<text x="{LEFT}" y="{HEIGHT - 8}">unit 1</text>'
        f'<text x="{WIDTH - RIGHT}" y="{HEIGHT - 8}" text-anchor="end">unit {one.count}</text></svg>'
    )
