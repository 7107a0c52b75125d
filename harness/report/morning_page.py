"""The line engineer's page of the morning."""

from __future__ import annotations

from harness.report import words
from harness.report.figures.golden_trend import golden_trend_svg
from harness.report.finite import require_finite_records
from harness.report.template import render
from harness.values import Followed, LotResult, Morning, Outcome, Share

MOST_ROWS = 5
_SHARES = (
    ("first_pass", "first pass"),
    ("final", "final, without a repair"),
    ("retest_pass", "pass on retest"),
    ("repaired", "pass since a repair, of those repaired"),
)


def morning_html(morning: Morning, *, software: str) -> str:
    """The page of a shift.

    Args:
        morning: the shift, and where things stand.
        software: version that made the page.
    Returns:
        an HTML document; the same bytes for the same arguments.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    for lot in (morning.shift, morning.before):
        if lot is not None:
            require_finite_records(lot.followed, "followed")
    return render(
        "morning.html",
        {
            "morning": morning,
            "software": software,
            "begin": words.moment(morning.begin_utc),
            "end": words.moment(morning.end_utc),
            "moment": words.moment,
            "yields": _yields(morning.shift, morning.before),
            "grey": dict(morning.shift.outcomes).get(Outcome.INCONCLUSIVE, 0) if morning.shift else 0,
            "items": morning.shift.items[:MOST_ROWS] if morning.shift else (),
            "diagnoses": morning.shift.diagnoses[:MOST_ROWS] if morning.shift else (),
            "invalid": morning.shift.invalid[:MOST_ROWS] if morning.shift else (),
            "followed": [_capability(one) for one in (morning.before.followed if morning.before else ())[:MOST_ROWS]],
            "trends": {one.name: golden_trend_svg(one.golden) for one in morning.stations if one.golden},
            "locked": [one for one in morning.stations if one.locks],
        },
    )  # fmt: skip


def _yields(shift: LotResult | None, before: LotResult | None) -> list[tuple[str, str, str, str, str]]:
    """Name, share with interval of the shift, count, share of the days before, and how the two compare."""
    if shift is None:
        return []
    rows = []
    for name, title in _SHARES:
        now: Share = getattr(shift, name)
        then: Share | None = None if before is None else getattr(before, name)
        if name == "repaired" and not now.trials and not (then and then.trials):
            continue
        rows.append((title, _share(now), f"{now.events} of {now.trials}", _share(then), _against(now, then)))
    return rows


def _share(one: Share | None) -> str:
    if one is None or one.ratio is None:
        return words.NOTHING
    return f"{100.0 * one.ratio:.1f} %  ({100.0 * one.low_ratio:.1f} to {100.0 * one.high_ratio:.1f})"


def _against(now: Share, then: Share | None) -> str:
    if then is None or then.ratio is None or now.ratio is None:
        return "nothing to compare with"
    if now.high_ratio < then.low_ratio:
        return "lower"
    return "higher" if now.low_ratio > then.high_ratio else "not told apart"


def _capability(one: Followed) -> tuple[str, str, str]:
    if one.cpk is None or one.cpk_interval is None:
        return one.name, words.NOTHING, f"{one.count}"
    return one.name, f"{one.cpk:.2f} ({one.cpk_interval[0]:.2f} to {one.cpk_interval[1]:.2f})", f"{one.count}"
