"""The page of many units: yields, reasons, numbers followed from unit to unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.report import words
from harness.report.figures.weighted import weighted_svg
from harness.report.finite import require_finite_records
from harness.report.template import render
from harness.values import Followed, LotResult, Share

MOST_ROWS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedLine:
    """One number as text, and its figure."""

    name: str
    cpk: str
    mean: str
    deviation: str
    allowed: str
    chart: str
    svg: str


def units_html(lot: LotResult, left_out: Sequence[tuple[str, int]], *, software: str) -> str:
    """The page of a lot of any size, from its statistics.

    Args:
        lot: the statistics.
        left_out: reason and number of runs that are not in it.
        software: version that made the page.
    Returns:
        an HTML document; the same bytes for the same arguments.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    require_finite_records(lot.followed, "followed")
    return render(
        "units.html",
        {
            "lot": lot,
            "software": software,
            "yields": [
                ("first pass", _share(lot.first_pass)),
                ("final", _share(lot.final)),
                ("pass on retest", _share(lot.retest_pass)),
                *([("pass since a repair, of those repaired", _share(lot.repaired))] if lot.repaired.trials else []),
            ],
            "attempts": ", ".join(f"{units} with {count}" for count, units in lot.attempts),
            "items": lot.items[:MOST_ROWS],
            "diagnoses": lot.diagnoses[:MOST_ROWS],
            "invalid": lot.invalid[:MOST_ROWS],
            "followed": [_line(one) for one in lot.followed],
            "limits": None if lot.limits is None else {
                "first": _share(lot.limits.first_pass), "final": _share(lot.limits.final),
                "passing": _named(lot.limits.now_passing), "failing": _named(lot.limits.now_not_passing),
            },
            "left_out": left_out,
        },
    )  # fmt: skip


def _share(one: Share) -> tuple[str, str, str]:
    if one.ratio is None:
        return words.NOTHING, words.NOTHING, "0 of 0"
    interval = f"{100.0 * one.low_ratio:.2f} to {100.0 * one.high_ratio:.2f} %"
    return f"{100.0 * one.ratio:.2f} %", interval, f"{one.events} of {one.trials}"


def _line(one: Followed) -> FollowedLine:
    cpk = words.NOTHING
    if one.cpk is not None and one.cpk_interval is not None:
        cpk = f"{one.cpk:.2f} ({one.cpk_interval[0]:.2f} to {one.cpk_interval[1]:.2f})"
    edges = [f"{edge:+g}" for edge in (one.low, one.high) if edge is not None]
    chart = "too few units for a chart"
    if one.base:
        chart = (
            f"outside {one.excursions} times, {one.expected:.1f} expected by chance (one in "
            f"{one.run_length:.0f} units); "
            f"rules of zones {one.zone_alarms}, {one.zone_expected:.1f} expected (one in {one.zone_run_length:.0f}); "
            f"mean and deviation of the first {one.base} units"
        )
    return FollowedLine(
        name=one.name, cpk=cpk, mean=f"{one.mean:+.4g} {one.unit}".rstrip(), deviation=f"{one.deviation:.3g}",
        allowed=" to ".join(edges) or words.NOTHING, chart=chart, svg=weighted_svg(one),
    )  # fmt: skip


def _named(units: tuple[str, ...]) -> str:
    more = f" and {len(units) - MOST_ROWS} more" if len(units) > MOST_ROWS else ""
    return f"{len(units)}" + (f": {', '.join(units[:MOST_ROWS])}{more}" if units else "")
