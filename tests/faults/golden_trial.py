"""A golden unit read again with a fault of the station: what its charts say of it."""

from __future__ import annotations

import functools

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.errors import StationFault
from harness.judge.golden import golden_causes, golden_check, golden_numbers
from harness.sweep import sweep
from harness.values import GoldenLook, GoldenNumber, Outcome
from tests.faults.trial import Kept, Trial, setup_of

GOLDEN = "golden"
"""Ends the name of a device's ladder."""
REFERENCE = 3
"""Checks that make the reference."""


def _numbers(device: str, faults: tuple[str, ...], seed: int) -> tuple[GoldenNumber, ...]:
    setup, kept = setup_of(device), Kept()
    with open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=faults) as opened:
        sweep(opened.bench, plan_of(setup), opened.recorder(kept), progress=lambda done, reading: None)
    judge = judge_of(setup)
    for reading in kept.readings:
        judge.take(reading)
    return golden_numbers(judge.result(kept.events))


@functools.cache
def _history(device: str, seed: int) -> tuple[GoldenLook, ...]:
    """Runs of one seed are alike to the last digit: the charts rest on the least scatter that is always there."""
    look = GoldenLook(
        unit="G1", station="1", job="golden", outcome=Outcome.INCONCLUSIVE, reference=True, restart="",
        common_percent=0.0, numbers=_numbers(device, (), seed),
    )  # fmt: skip
    return (look,) * REFERENCE


def golden_trial(ladder: str, faults: tuple[str, ...], *, seed: int) -> Trial:
    """Outcome LOCKED where the charts are left: the station waits for whoever finds the cause."""
    device = ladder.removesuffix(f" {GOLDEN}")
    try:
        numbers = _numbers(device, faults, seed)
    except StationFault as error:
        return Trial(outcome="LOCKED", named=(error.fault,), together=(), none_of_these=False, how=str(error))
    check = golden_check(_history(device, seed), numbers, wanted=REFERENCE)
    causes = golden_causes(check)
    return Trial(
        outcome="LOCKED" if check.outcome is Outcome.FAIL else str(check.outcome),
        named=causes[:3],
        together=causes[3:],
        none_of_these=False,
        how=", ".join(row.name for row in check.outside),
    )
