"""Single records and the time of a run: codes beside predicted gaps, what a record holds beside its sine, courses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from harness.report.figures.against_gain import engineering
from harness.report.figures.canvas import FAINT, LIMIT, RANGE_COLOURS
from harness.report.figures.panels import Axis, Panel, PanelPoint, panels_svg
from harness.report.words import decimal, percent, significant
from harness.values import CodeCounts, Course, RecordResidual

BLUE = RANGE_COLOURS[0]
LONG_MIN = 2.0
"""From here on time is told in minutes."""


def codes_svg(codes: CodeCounts | None) -> str:
    """How often each code near the middle of a record was delivered; red dots where arithmetic leaves none.

    Args:
        codes: of a suspicious setting; None draws nothing.
    Returns:
        an `svg` element; empty for nothing.
    """
    if codes is None:
        return ""
    top = float(max(max(codes.counts), 1)) * 1.05
    last = codes.first + len(codes.counts) - 1
    panel = Panel(
        title=f"{codes.label}: {codes.found}, ×{codes.factor:.5g}",
        points=tuple(
            PanelPoint(x=float(codes.first + place), y=0.0, colour=LIMIT)
            for place, empty in enumerate(codes.empty)
            if empty
        ),
        lines=tuple(
            (float(codes.first + place), 0.0, float(codes.first + place), float(count), BLUE)
            for place, count in enumerate(codes.counts)
            if count
        ),
    )
    ticks = tuple((float(code), str(code)) for code in range(-(-codes.first // 8) * 8, last + 1, 8))
    x = Axis(low=codes.first - 1.0, high=last + 1.0, ticks=ticks, name="code")
    y = Axis(low=0.0, high=top, ticks=((0.0, "0"), (top / 1.05, f"{top / 1.05:.0f}")), name="samples")
    return panels_svg([panel], x=x, y=y, label=f"Samples of each code of {codes.label}", height=130)


def residual_record_svg(record: RecordResidual | None) -> tuple[str, ...]:
    """What a record holds beside its sine: over the phase of the signal, and over the frequency.

    Args:
        record: of the worst setting; None draws nothing.
    Returns:
        two `svg` elements; none for nothing.
    """
    if record is None:
        return ()
    reach = 1.1 * max(0.5, *(max(-least, most) for _, least, most in record.envelope))
    wave = Panel(
        title=f"{record.label}, residual of its gain {percent(record.residual_percent)}",
        points=tuple(PanelPoint(x=phase, y=value, colour=BLUE) for phase, *pair in record.envelope for value in pair),
        lines=((0.0, 0.0, 1.0, 0.0, FAINT),),
    )
    phases = tuple((share, f"{share:g}") for share in (0.0, 0.25, 0.5, 0.75, 1.0))
    edge = reach / 1.1
    codes = tuple((value, decimal(value, digits=1, signed=value != 0.0)) for value in (-edge, 0.0, edge))
    over_phase = panels_svg(
        [wave],
        x=Axis(low=0.0, high=1.0, ticks=phases, name="phase of the signal, cycles"),
        y=Axis(low=-reach, high=reach, ticks=codes, name="residual, codes"),
        label=f"Residual of the record of {record.label} over the phase of the signal",
        height=130,
    )
    floor = min(-60.0, 20.0 * (min(level for _, level in record.spectrum) // 20.0))
    top = max(0.0, *(level for _, level in record.spectrum))
    highest = max(hertz for hertz, _ in record.spectrum)
    lines = Panel(
        title="", points=(), lines=tuple((hertz, floor, hertz, level, BLUE) for hertz, level in record.spectrum)
    )
    step = _round_step(highest / 5.0)
    ticks = tuple(
        (step * part, engineering(step * part, unit="Hz")) for part in range(1, int(0.98 * highest / step) + 1)
    )
    over_frequency = panels_svg(
        [lines],
        x=Axis(low=0.0, high=highest * 1.005, ticks=((0.0, "0"), *ticks), name="frequency"),
        y=Axis(
            low=floor, high=top, ticks=tuple((level, decimal(level, digits=0)) for level in _levels(floor)), name="dB"
        ),
        label=f"Spectrum of the residual of {record.label}, dB to the signal",
        height=130,
    )
    return over_phase, over_frequency


def _round_step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(part * power for part in (1.0, 2.0, 5.0, 10.0) if part * power >= 0.999 * least)


def _levels(floor: float) -> list[float]:
    return [-20.0 * step for step in range(int(-floor / 20.0) + 1)]


def courses_svg(courses: Sequence[Course]) -> tuple[str, ...]:
    """Anchors and conditions over the time of a run.

    Args:
        courses: any number; one of a single point has no course to draw.
    Returns:
        one `svg` element a course, all over one time.
    """
    drawn = [one for one in courses if len(one.points) > 1]
    last = max((minutes for one in drawn for minutes, _ in one.points), default=1.0)
    return tuple(_course(one, max(last, 1e-3)) for one in drawn)


NAMES = {"probe_c": "temperature at the unit", "air_c": "temperature of the air", "supply_v": "supply, volts",
         "supply_a": "supply, amperes"}  # fmt: skip
LEAST_SPANS = {"%": 0.02, "°C": 1.0, "V": 0.1, "A": 0.01}
"""What is smaller is not drawn as if it were large."""


def _course(one: Course, last: float) -> str:
    values = [value for _, value in one.points]
    middle = (min(values) + max(values)) / 2.0
    half = 0.5 * max(max(values) - min(values), LEAST_SPANS.get(one.unit, 0.0), 1e-12)
    unit = f" {one.unit}".rstrip()
    ends = (middle - half, middle + half)
    ticks = tuple((value, f"{significant(value, figures=4)}{unit}") for value in ends)
    long = last > LONG_MIN
    factor = 1.0 if long else 60.0
    step = _round_step(factor * last / 5.0)
    times = tuple((step * part, f"{step * part:g}") for part in range(int(0.98 * factor * last / step) + 1))
    places = [(minutes * factor, value) for minutes, value in one.points]
    panel = Panel(
        title=NAMES.get(one.name, one.name),
        points=tuple(PanelPoint(x=time, y=value, colour=BLUE) for time, value in places),
        lines=tuple((*here, *there, FAINT) for here, there in pairwise(places) if there[0] >= here[0]),
    )
    x = Axis(low=0.0, high=factor * last, ticks=times, name=f"{'minutes' if long else 'seconds'} since the run began")
    y = Axis(low=middle - 1.3 * half, high=middle + 1.3 * half, ticks=ticks, name="")
    return panels_svg([panel], x=x, y=y, label=f"{panel.title} over the time of the run", height=80)
