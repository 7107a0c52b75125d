"""When the records of a setting suffice: the job's risk against the limits of its gain."""

from __future__ import annotations

from collections.abc import Sequence

from harness.config import JobFile
from harness.errors import Problem
from harness.judge import LimitSet
from harness.judge.decision.sequential import certain
from harness.judge.limits import BY_UNCERTAINTY
from harness.sweep import AveragingPlan
from harness.values import Rung


def averaging_plan(job: JobFile, limits: LimitSet) -> AveragingPlan | None:
    """The sweep's view of a job's [averaging]; None where one record is a reading."""
    wanted = job.averaging
    if wanted is None:
        return None
    most, risk = wanted.most_records, wanted.risk

    def enough(rung: Rung, percents: Sequence[float], u_percent: float) -> bool:
        return certain(percents, gain_edges(limits, rung), stated=u_percent, risk=risk, most=most)

    return AveragingPlan(most_records=most, certain=enough)


def gain_edges(limits: LimitSet, rung: Rung) -> tuple[float, ...]:
    """Where the outcome of a rung's gain changes, percent; none where nothing is required of it."""
    limit = limits.at("gain", rung.setting)
    if limit is None:
        return ()
    guard = limit.guard if (limit.rule or "guarded") == "guarded" else 0.0
    return tuple(edge + side * guard for edge in (limit.low, limit.high) if edge is not None for side in (-1.0, 1.0))


def averaging_problems(job: JobFile, limits: LimitSet, rungs: Sequence[Rung], *, file: str) -> list[Problem]:
    """Rules whose guard band is known only when the whole run has been measured: no record can be the last by them."""
    if job.averaging is None:
        return []
    rules = {limit.rule or "" for rung in rungs if (limit := limits.at("gain", rung.setting)) is not None}
    return [
        Problem(
            file=file,
            key="averaging",
            got=f'limits of the gain with rule = "{rule}"',
            allowed='rule = "simple" or "guarded": the guard band must be known before the run ends',
        )
        for rule in sorted(rules & set(BY_UNCERTAINTY))
    ]
