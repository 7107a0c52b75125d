"""`gainladder golden study`: is a station good enough, from runs that are in the store."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from harness.app.run import judged
from harness.app.setup import setup_of_run
from harness.config import LimitItem
from harness.errors import ExitCode, MeasureError, UsageError
from harness.judge.gauge import GaugeSpread, GaugeTable, anova_study, average_range_study, stations_apart, type_one
from harness.judge.gauge.spread import grade
from harness.judge.golden import golden_numbers
from harness.judge.golden.numbers import FACTOR
from harness.store import Store
from harness.values import Outcome, RunHeader

LEAST_SHOWN = 1e-6
"""Percent; scatter below it is that of a simulation that repeats itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyRun:
    """One run, reduced."""

    unit: str
    appraiser: str
    numbers: Mapping[str, float]
    widths: Mapping[str, float]
    """Tolerance of each number, percent; only of those with both limits."""


def runs_of_job(store: Store, job: str) -> tuple[str, ...]:
    """Ids of the finished runs of a job, by the job's name, oldest first. UsageError without any."""
    found = tuple(
        info.header.run_id
        for info in reversed(store.runs())
        if info.end == "finished" and setup_of_run(info.header).job.name == job
    )
    if not found:
        raise UsageError(f"golden study: {store.place} holds no finished run of job {job}: measure some, or name runs")
    return found


def reduced_runs(store: Store, run_ids: Sequence[str], *, by: str) -> tuple[tuple[StudyRun, ...], tuple[str, ...]]:
    """The runs with their numbers, oldest first, and a line for each that is left out."""
    found, left_out = [], []
    for run_id in dict.fromkeys(run_ids):
        header, result = judged(store, run_id)
        numbers = {number.name: number.percent for number in golden_numbers(result)}
        if result.verdict is Outcome.INVALID or not result.complete or not numbers:
            left_out.append(f"{run_id} left out: {'INVALID' if result.complete else 'incomplete'}")
            continue
        setup = setup_of_run(header)
        found.append(
            StudyRun(
                unit=header.unit,
                appraiser=header.operator if by == "operator" else _station(header, setup.bench.file.name),
                numbers=numbers,
                widths={name: width for name in numbers if (width := _width(name, setup.limits.get)) is not None},
            )
        )
    return tuple(found), tuple(left_out)


def study(runs: Sequence[StudyRun], *, reference: Mapping[str, float] | None) -> dict[str, Any]:
    """Every study that the runs allow, by number, and why others are not made; plain JSON types.

    A type-1 study of the unit with most runs on one station, gauge R&R of all units by all appraisers, and each pair of
    appraisers against each other. UsageError where the runs allow none.
    """
    cells: dict[tuple[str, str], list[StudyRun]] = {}
    for run in runs:
        cells.setdefault((run.unit, run.appraiser), []).append(run)
    names = [name for name in runs[0].numbers if all(name in run.numbers for run in runs)] if runs else []
    content: dict[str, Any] = {"runs": len(runs), "type_one": {}, "gauge_rr": {}, "stations": {}, "not_made": []}
    most = max(cells.values(), key=len, default=[])
    for name in names:
        width = min((run.widths[name] for run in runs if name in run.widths), default=None)
        _keep(content, "type_one", name, partial(_type_one, most, name, width, reference))
        _keep(content, "gauge_rr", name, partial(_gauge_rr, cells, name, width))
        _keep(content, "stations", name, partial(_stations, cells, name, width))
    if most:
        content["type_one_of"] = {"unit": most[0].unit, "appraiser": most[0].appraiser, "runs": len(most)}
    content["not_made"] = sorted(set(content["not_made"]))
    if not (content["type_one"] or content["gauge_rr"] or content["stations"]):
        raise UsageError("golden study: these runs allow none: " + ("; ".join(content["not_made"]) or "no run left"))
    return content


def _keep(content: dict[str, Any], kind: str, name: str, make: Callable[[], dict[str, Any] | None]) -> None:
    try:
        made = make()
    except MeasureError as error:
        content["not_made"].append(str(error))
        return
    if made is not None:
        content[kind][name] = made


def _type_one(
    runs: Sequence[StudyRun], name: str, width: float | None, reference: Mapping[str, float] | None
) -> dict[str, Any] | None:
    if width is None:
        return None
    values = [run.numbers[name] for run in runs]
    true = sum(values) / len(values) if reference is None else reference.get(name)
    if true is None:
        return None
    found = type_one(values, reference=true, width=width)
    if found.deviation <= LEAST_SHOWN:
        raise MeasureError("type-1 study: all readings are equal: a simulation with one seed repeats itself")
    return {
        "count": found.count, "mean_percent": found.mean, "deviation_percent": found.deviation,
        "bias_percent": None if reference is None else found.bias, "tolerance_percent": width, "cg": found.cg,
        "cg_low": found.cg_low, "cg_high": found.cg_high, "cgk": None if reference is None else found.cgk,
        "outcome": found.outcome,
    }  # fmt: skip


def _gauge_rr(cells: Mapping[tuple[str, str], Sequence[StudyRun]], name: str, width: float | None) -> dict[str, Any]:
    table = GaugeTable.of({place: [run.numbers[name] for run in runs] for place, runs in cells.items()})
    ranges, variances = average_range_study(table), anova_study(table)
    return {
        "units": len(table.parts), "appraisers": len(table.appraisers), "trials": table.trials,
        "average_range": _spread(ranges.spread, width), "anova": _spread(variances.spread, width),
        "interaction_p": variances.p_interaction, "interaction_pooled": variances.pooled,
        "ranges_above_limit": [list(place) for place in ranges.above],
    }  # fmt: skip


def _spread(spread: GaugeSpread, width: float | None) -> dict[str, Any]:
    percent = spread.percent(spread.grr)
    of_tolerance = None if width is None else spread.tolerance_percent(width)
    return {
        "repeatability_percent": spread.ev, "reproducibility_percent": spread.av, "grr_percent": spread.grr,
        "units_percent": spread.pv, "total_percent": spread.tv, "grr_of_total_percent": percent, "ndc": spread.ndc,
        "grr_of_tolerance_percent": of_tolerance, "grade": grade(percent if of_tolerance is None else of_tolerance),
    }  # fmt: skip


def _stations(
    cells: Mapping[tuple[str, str], Sequence[StudyRun]], name: str, width: float | None
) -> dict[str, Any] | None:
    """Each appraiser against the first one, by the means of the units that both have."""
    appraisers = list(dict.fromkeys(appraiser for _, appraiser in cells))
    if width is None or len(appraisers) < 2:
        return None
    made: dict[str, Any] = {}
    for other in appraisers[1:]:
        both = [unit for unit, who in cells if who == appraisers[0] and (unit, other) in cells]
        means = [
            [math.fsum(r.numbers[name] for r in cells[unit, who]) / len(cells[unit, who]) for unit in both]
            for who in (appraisers[0], other)
        ]
        found = stations_apart(means[0], means[1], width=width)
        made[f"{other} less {appraisers[0]}"] = {
            "units": found.units, "mean_percent": found.mean, "deviation_percent": found.deviation,
            "most_percent": found.most, "outcome": found.outcome,
        }  # fmt: skip
    return made


def lines_of(content: Mapping[str, Any]) -> list[str]:
    """A study for people."""
    lines: list[str] = []
    if content["type_one"]:
        of = content["type_one_of"]
        lines.append(f"type-1 study: unit {of['unit']}, {of['appraiser']}, {of['runs']} runs")
    for name, row in content["type_one"].items():
        cgk = "no reference, so no Cgk" if row["cgk"] is None else f"Cgk {row['cgk']:.2f}"
        lines.append(
            f"  {name:<20} s {row['deviation_percent']:.4f} %  Cg {row['cg']:.2f} [{row['cg_low']:.2f},"
            f" {row['cg_high']:.2f}]  {cgk}  {row['outcome']}"
        )
    for name, row in content["gauge_rr"].items():
        for method, title in (("average_range", "average and range"), ("anova", "analysis of variance")):
            part = row[method]
            tolerance = part["grr_of_tolerance_percent"]
            of = "" if tolerance is None else f", {tolerance:.1f} % of the tolerance"
            lines.append(
                f"gauge R&R {name}, {title}: {row['units']} units x {row['appraisers']} x {row['trials']}: GRR"
                f" {part['grr_percent']:.4f} % (EV {part['repeatability_percent']:.4f}, AV"
                f" {part['reproducibility_percent']:.4f}, PV {part['units_percent']:.4f}),"
                f" {part['grr_of_total_percent']:.1f} % of the total{of}; ndc {part['ndc']}; {part['grade']}"
            )
    for name, pairs in content["stations"].items():
        lines += [
            f"{pair}, {name}: {row['units']} units, mean {row['mean_percent']:+.4f} %, s"
            f" {row['deviation_percent']:.4f} %, allowed {row['most_percent']:.4f} %: {row['outcome']}"
            for pair, row in pairs.items()
        ]
    return [*lines, *(f"not made: {why}" for why in content["not_made"])]


def _station(header: RunHeader, bench: str) -> str:
    """Name of the bench, and which source: two stations may share one bench file."""
    return f"{bench}, source {dict(header.identities)['source'].serial}"


def _width(name: str, row_of: Callable[[str], LimitItem | None]) -> float | None:
    row = row_of("gain" if name.startswith(FACTOR) else f"parameter {name}")
    return None if row is None or row.low is None or row.high is None else row.high - row.low


def code_of(content: Mapping[str, Any]) -> ExitCode:
    """FAIL where something is not good enough, else INCONCLUSIVE where something rests on too few runs, else PASS."""
    said = [row["outcome"] for row in content["type_one"].values()]
    said += [row["outcome"] for pairs in content["stations"].values() for row in pairs.values()]
    said += [row["anova"]["grade"] for row in content["gauge_rr"].values()]
    if any(word in ("not capable", "apart", "too much") for word in said):
        return ExitCode.FAIL
    return ExitCode.INCONCLUSIVE if any(word.startswith("too few") for word in said) else ExitCode.PASS
