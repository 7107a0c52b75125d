"""A judged run in short, for statistics over many."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from harness.judge.claims.station import STATION
from harness.judge.extra_reading import NOT_READ
from harness.judge.verdict import worst_outcome
from harness.values import Charted, HeldItem, Judgement, Outcome, RunHeader, RunResult, RunSummary

MOST_CAUSES = 3
CAUSE_LETTERS = 80
SHARED = ("residual", "noise")
"""Items of which the worst number of a run is charted, as a share of its limit."""


def summary_of(
    header: RunHeader, result: RunResult, *, at_utc: str, seconds: float | None, software: str
) -> RunSummary:
    """What a lot needs of a run.

    Args:
        header: of the run.
        result: the run, judged.
        at_utc: when it was judged, ISO 8601.
        seconds: from begin to end, s; None without an end.
        software: version that judged.
    Returns:
        items by name and limits with their extreme numbers, the likeliest causes, reasons of INVALID settings, and the
        numbers to follow: fitted parameters that the readings decide, worst residual and noise as shares of the limit.
    Source:
        practice: charts on few numbers, not on every gain.
    """
    items = tuple(_held(result.judgements))
    invalid: Counter[str] = Counter()
    station = next((j.reason for j in result.judgements if j.item == STATION.item), "")
    for row in result.settings:
        if row.outcome is Outcome.INVALID:
            reason = row.reason.removeprefix(f"{row.label}: ")
            # A sweep that the station's fault has stopped: what was never read says nothing of why.
            invalid[cause(f"station: {station}" if station and reason == NOT_READ else reason)] += 1
    if result.verdict is Outcome.INVALID and not invalid:
        said = next((j.reason for j in result.judgements if j.outcome is Outcome.INVALID), "")
        invalid[cause(said or "not all readings were taken")] += 1
    limits = [file.sha256 for file in header.files if file.role == "limits"]
    suspects = () if result.verdict is Outcome.PASS else tuple(one.fault for one in result.candidates[:MOST_CAUSES])
    return RunSummary(
        run_id=header.run_id,
        at_utc=at_utc,
        software=software,
        limits_sha256=limits[0] if limits else "",
        verdict=result.verdict,
        complete=result.complete,
        seconds=seconds,
        tested=sum(row.outcome is not Outcome.INVALID for row in result.settings),
        failing=sum(row.outcome is Outcome.FAIL for row in result.settings),
        items=items,
        diagnoses=suspects,
        invalid=tuple(sorted(invalid.items())),
        charted=(*_shares(items), *_parameters(result)),
    )


def cause(reason: str) -> str:
    """The beginning of a reason, so that the same ones are counted together.

    Args:
        reason: for people.
    Returns:
        its first two parts, at most 80 letters; `unknown` for none.
    Source:
        none: a text.
    """
    return ": ".join(reason.split(": ")[:2])[:CAUSE_LETTERS] or "unknown"


def share_of_limit(value: float, low: float | None, high: float | None) -> float | None:
    """Where a number lies between its limits: 0 in the middle, 1 at a limit.

    Args:
        value: the number.
        low, high: limits in its unit; None where there is none.
    Returns:
        distance from the middle over half the width; with one limit the number over it; None where that says nothing.
    Source:
        practice: worst |r| over limit.
    """
    if low is not None and high is not None:
        return abs(value - (low + high) / 2.0) / ((high - low) / 2.0)
    if high is not None and high > 0.0:
        return value / high
    return None


def _held(judgements: Iterable[Judgement]) -> list[HeldItem]:
    groups: dict[tuple[str, str, float | None, float | None], list[Judgement]] = {}
    for one in judgements:
        groups.setdefault((one.item, one.unit, one.low, one.high), []).append(one)
    held = []
    for (item, unit, low, high), several in groups.items():
        numbers = [(one.measured, one.expanded) for one in several if one.measured is not None]
        least = min(numbers, key=lambda pair: pair[0], default=(None, None))
        most = max(numbers, key=lambda pair: pair[0], default=(None, None))
        failing = sum(one.outcome is Outcome.FAIL for one in several)
        worst = worst_outcome(one.outcome for one in several)
        held.append(HeldItem(item, unit, low, high, len(several), failing, str(worst), *least, *most))
    return held


def _shares(items: Iterable[HeldItem]) -> list[Charted]:
    worst: dict[str, float] = {}
    for held in items:
        for value in (held.least, held.most):
            share = None if value is None else share_of_limit(value, held.low, held.high)
            if share is not None and held.item in SHARED:
                worst[held.item] = max(worst.get(held.item, 0.0), share)
    return [Charted(f"worst {item} over its limit", worst[item], None, 1.0, "") for item in SHARED if item in worst]


def _parameters(result: RunResult) -> list[Charted]:
    return [
        Charted(f"ch{row.channel} {row.name}", row.deviation_percent, row.low, row.high, "percent")
        for row in result.parameters
        if row.identifiable
    ]
