"""Claim: nothing in the journal speaks against the station. Never in a limits file: it always counts."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Scope
from harness.judge.limits import judge_claim
from harness.values import STATION as WHOSE
from harness.values import Judgement, Outcome, golden_says_of

STATION_FAULT = "station-fault"
"""Kind of the journal's line that says so."""


def _judge(context: Context) -> tuple[Judgement, ...]:
    faults = [event.text for event in context.events if event.kind == STATION_FAULT]
    said = golden_says_of(context.events)
    if said is not None and said[0] == WHOSE:
        faults.append(said[1])
    return (judge_claim("station", Outcome.INVALID, faults[0], setting=None),) if faults else ()


STATION = ClaimKind(item="station", unit="", scope=Scope.RUN, needs=frozenset(), judge=_judge, in_limits=False)
