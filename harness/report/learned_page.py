"""The story of a device that nobody has documented, for a colleague who was not there."""

from __future__ import annotations

from collections import Counter

from harness.report import words
from harness.report.figures.grid import Grid, grids_of
from harness.report.figures.learned import gain_svg, residuals_svg, steps_svg
from harness.report.figures.realness import LETTERS
from harness.report.figures.word_raster import rasters
from harness.report.finite import require_finite_records
from harness.report.template import render
from harness.values import LearnedDevice, LearnedSetting

SURE = ("known", "likely", "guessed", "unknown")
MEANS = {
    "known": "the data decide it, and gains left out of the fit agree",
    "likely": "the data prefer it clearly",
    "guessed": "it fits, and others fit as well",
    "unknown": "nothing seen here tells it",
}
MOST_WORDS = 400
"""Settings in the table; a page of ten thousand rows is read by nobody."""


def learned_html(device: LearnedDevice, *, software: str) -> str:
    """The story page.

    Args:
        device: the story.
        software: version that made the page.
    Returns:
        an HTML document; the same bytes for the same arguments.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    for name in ("settings", "steps", "laws"):
        require_finite_records(getattr(device, name), name)
    counts = Counter(row.realness for row in device.settings)
    return render(
        "learned.html",
        {
            "device": device,
            "software": software,
            "measured": sum(row.measured_codes_per_v is not None for row in device.settings),
            "left": words.significant(device.left_percent, figures=2),
            "counts": counts.most_common(),
            "facts": [(sure, MEANS[sure], [f.text for f in device.facts if f.sure == sure]) for sure in SURE],
            "gain": gain_svg(device),
            "steps": steps_svg(device),
            "residuals": residuals_svg(device),
            "rasters": rasters(device),
            "realness": _realness(device),
            "number": lambda value, figures=5: words.significant(value, figures=figures),
            "percent": lambda value: words.percent(value, digits=3),
            "rows": device.settings[:MOST_WORDS],
            "more": max(len(device.settings) - MOST_WORDS, 0),
        },
    )


def _realness(device: LearnedDevice) -> tuple[Grid, ...]:
    return grids_of(
        [(row.setting, _painted(row)) for row in device.settings],
        range_named=lambda index: device.ranges[index], fine_named=lambda index: device.fine[index],
    )  # fmt: skip


def _painted(row: LearnedSetting) -> tuple[str, str, str, str]:
    ratio = "" if row.arithmetic_ratio == 1.0 else f" ×{row.arithmetic_ratio:.4g}"
    why = f"; {row.why}" if row.why else ""
    return str(row.realness), LETTERS[row.realness], "", f"{row.label}: {row.realness}{ratio}{why}"
