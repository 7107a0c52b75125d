"""The figures of a learned device: gain against word value, steps, residuals."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from harness.report.figures.against_gain import MOST_TICKS, engineering, whole_decades
from harness.report.figures.canvas import FAINT, RANGE_COLOURS
from harness.report.figures.panels import Axis, Panel, PanelPoint, panels_svg
from harness.report.words import percent, significant
from harness.values import LearnedDevice, LearnedSetting, LearnedStep, Setting

MOST_TITLED = 2500
"""Marks of a figure that speak to the pointer; more would make the page heavy."""
GAP = 2
MOST_NAMED = 6
COLUMNS = 2
HEIGHT = 230


def gain_svg(device: LearnedDevice) -> str:
    """Hardware gain of every setting against the number in its word, with the law as lines.

    Args:
        device: the story.
    Returns:
        an `svg` element; empty when there is no law or no gain.
    """
    rows = [row for row in device.settings if row.code is not None and row.measured_codes_per_v]
    if not rows:
        return ""
    codes = [row.code or 0 for row in rows]
    low, high = min(codes), max(codes)
    gains = whole_decades([(row.measured_codes_per_v or 1.0) / row.arithmetic_ratio for row in rows])
    titled = len(rows) <= MOST_TITLED
    panels = [
        Panel(
            title=f"ch{channel}", courses=tuple(_law_lines([row for row in rows if row.setting.channel == channel])),
            points=tuple(_gain_point(row, titled=titled) for row in rows if row.setting.channel == channel),
        )
        for channel in sorted({row.setting.channel for row in rows})
    ]  # fmt: skip
    x = _axis(float(low), float(high), "number in the word" if device.bits else "fine position plus one")
    return panels_svg(
        panels, x=x, y=_decades(gains, "hardware gain, codes/V"), columns=COLUMNS, height=HEIGHT,
        label="Hardware gain of every setting against the number in its word, the law as lines, one panel a channel",
    )  # fmt: skip


def _gain_point(row: LearnedSetting, *, titled: bool) -> PanelPoint:
    gain = (row.measured_codes_per_v or 0.0) / row.arithmetic_ratio
    word = f", word {row.word}" if row.word else ""
    title = f"{row.label}: {significant(gain)} codes/V{word}, number {row.code}; the law leaves {_left(row)}"
    return PanelPoint(
        x=float(row.code or 0), y=gain, colour=_colour(row.setting), title=title if titled else "",
        mark="dot" if row.arithmetic_ratio == 1.0 else "cross",
    )  # fmt: skip


def _left(row: LearnedSetting) -> str:
    return percent(row.residual_percent, digits=3)


def _law_lines(rows: Sequence[LearnedSetting]) -> list[tuple[tuple[tuple[float, float], ...], str]]:
    """One line for settings that differ in nothing but the number."""
    groups: dict[tuple[int, str], list[tuple[float, float]]] = {}
    for row in rows:
        if row.law_codes_per_v is not None and row.code is not None:
            by_law = row.law_codes_per_v / row.arithmetic_ratio
            groups.setdefault((row.setting.coarse, row.outside), []).append((float(row.code), by_law))
    return [(tuple(sorted(set(points))), FAINT) for points in groups.values() if len(set(points)) > 1]


def steps_svg(device: LearnedDevice) -> str:
    """Every step of the fine position in decibels, with what the law says of it.

    Args:
        device: the story.
    Returns:
        an `svg` element; empty without a step.
    """
    if not device.steps:
        return ""
    places = _places(device)
    sizes = [value for step in device.steps for value in (step.measured_db, step.law_db) if value is not None]
    titled = len(device.steps) <= MOST_TITLED
    panels = []
    for channel in sorted({step.setting.channel for step in device.steps}):
        mine = [step for step in device.steps if step.setting.channel == channel]
        courses = _courses(
            [(step.setting, step.law_db) for step in mine if step.law_db is not None], places, lambda _: FAINT
        )
        points = tuple(_step_point(step, places, titled=titled) for step in mine)
        panels.append(Panel(title=f"ch{channel}", points=points, courses=courses, shaded=_shaded(places)))
    return panels_svg(
        panels, x=_ranges_axis(device, places), y=_axis(min(0.0, *sizes), max(0.0, *sizes), "step, dB"),
        columns=COLUMNS, height=HEIGHT, label="Steps of the fine position in decibels, the law as lines, by range",
    )  # fmt: skip


def _step_point(step: LearnedStep, places: dict[tuple[int, int], int], *, titled: bool) -> PanelPoint:
    by_law = "" if step.law_db is None else f", by the law {step.law_db:+.4f} dB"
    return PanelPoint(
        x=float(places[step.setting.coarse, step.setting.fine]), y=step.measured_db, colour=_colour(step.setting),
        title=f"to {step.label}: {step.measured_db:+.4f} dB{by_law}" if titled else "",
    )  # fmt: skip


def residuals_svg(device: LearnedDevice) -> str:
    """What the law leaves of every gain, between lines at twice its stated uncertainty.

    Args:
        device: the story.
    Returns:
        an `svg` element; empty where nothing has a residual.
    """
    rows = [row for row in device.settings if row.residual_percent is not None]
    if not rows:
        return ""
    places = _places(device)
    titled = len(rows) <= MOST_TITLED
    reach = max(
        *(abs(row.residual_percent or 0.0) for row in rows), *(2.0 * (row.u_percent or 0.0) for row in rows), 1e-3
    )
    panels = []
    for channel in sorted({row.setting.channel for row in rows}):
        mine = [row for row in rows if row.setting.channel == channel]
        edges = [[(row.setting, sign * 2.0 * (row.u_percent or 0.0)) for row in mine] for sign in (-1.0, 1.0)]
        courses = tuple(course for edge in edges for course in _courses(edge, places, lambda _: FAINT))
        points = tuple(_residual_point(row, places, titled=titled) for row in mine)
        panels.append(Panel(title=f"ch{channel}", points=points, courses=courses, shaded=_shaded(places)))
    return panels_svg(
        panels, x=_ranges_axis(device, places), y=_axis(-reach, reach, "measured over law, %"),
        columns=COLUMNS, height=HEIGHT, label="What the law leaves of every gain in percent, by range",
    )  # fmt: skip


def _residual_point(row: LearnedSetting, places: dict[tuple[int, int], int], *, titled: bool) -> PanelPoint:
    u = "" if row.u_percent is None else f", stated u {row.u_percent:.2g} %"
    return PanelPoint(
        x=float(places[row.setting.coarse, row.setting.fine]), y=row.residual_percent or 0.0,
        colour=_colour(row.setting), title=f"{row.label}: {_left(row)}{u}" if titled else "",
    )  # fmt: skip


def _colour(setting: Setting) -> str:
    return RANGE_COLOURS[setting.coarse % len(RANGE_COLOURS)]


def _places(device: LearnedDevice) -> dict[tuple[int, int], int]:
    """Ranges side by side, fine positions inside."""
    found: dict[tuple[int, int], int] = {}
    place, before = 0, None
    for coarse, fine in sorted({(row.setting.coarse, row.setting.fine) for row in device.settings}):
        place += 1 + (GAP if before is not None and coarse != before else 0)
        found[coarse, fine], before = place, coarse
    return found


def _spans(places: dict[tuple[int, int], int]) -> dict[int, tuple[int, int]]:
    found: dict[int, tuple[int, int]] = {}
    for (coarse, _), place in places.items():
        found[coarse] = (found.get(coarse, (place, place))[0], place)
    return found


def _shaded(places: dict[tuple[int, int], int]) -> tuple[tuple[float, float], ...]:
    spans = list(_spans(places).values())
    return tuple((first - 1.5, last + 1.5) for first, last in spans[1::2])


def _ranges_axis(device: LearnedDevice, places: dict[tuple[int, int], int]) -> Axis:
    spans = list(_spans(places).items())
    every = -(-len(spans) // MOST_NAMED)
    ticks = tuple(((first + last) / 2.0, device.ranges[coarse]) for coarse, (first, last) in spans[::every])
    name = "range, fine positions inside" if len(spans) > 1 else "word"
    return Axis(low=-0.5, high=max(places.values()) + 1.5, ticks=ticks, name=name)


def _courses(
    values: Sequence[tuple[Setting, float]],
    places: dict[tuple[int, int], int],
    colour: Callable[[int], str],
) -> tuple[tuple[tuple[tuple[float, float], ...], str], ...]:
    """One line a range."""
    groups: dict[int, list[tuple[float, float]]] = {}
    for setting, value in values:
        groups.setdefault(setting.coarse, []).append((float(places[setting.coarse, setting.fine]), value))
    return tuple((tuple(points), colour(coarse)) for coarse, points in groups.items() if len(points) > 1)


def _axis(low: float, high: float, name: str) -> Axis:
    """Round ticks, a little room at both ends."""
    span = max(high - low, 1e-6)
    power = 10.0 ** math.floor(math.log10(span / 3.0))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if span / (factor * power) <= MOST_TICKS)
    ticks = [k * step for k in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]
    named = tuple((tick, f"{tick:.6g}") for tick in ticks)
    return Axis(low=low - 0.06 * span, high=high + 0.06 * span, ticks=named, name=name)


def _decades(ends: tuple[float, float], name: str) -> Axis:
    count = round(math.log10(ends[1] / ends[0]))
    every = max(-(-count // MOST_TICKS), 1)
    powers = [ends[0] * 10.0**k for k in range(0, count + 1, every)]
    ticks = tuple((value, engineering(value, unit="")) for value in powers)
    return Axis(low=ends[0], high=ends[1], ticks=ticks, name=name, logarithmic=True)
