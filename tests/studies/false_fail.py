"""How often a good unit fails, by decision rule: `python -m tests.studies.false_fail [--units 1000] [--json]`.

Each unit of the simulated lot has its own parts, its own noise and its own source; none has a fault. It is swept once,
in memory, over the short CI ladder, and its record is judged under each rule: all rows of the limits file that have
numbers take that rule. The bound is the upper one-sided 95 % bound of Clopper and Pearson.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup, read_setup
from harness.judge import LimitSet
from harness.judge.decision import DECISION_RULES, share_interval
from harness.sweep import sweep
from harness.values import Outcome, Reading, RunResult

JOB = "configs/jobs/ci.toml"


class Kept:
    """A recorder that only remembers."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []

    def record(self, reading: Reading) -> None:
        """Keep one reading."""
        self.readings.append(reading)

    def note(self, kind: str, text: str) -> None:
        """Nobody reads the journal here."""


@dataclass(slots=True)
class Tally:
    """What became of the units, and of all their claims, under one rule."""

    units: dict[Outcome, int] = field(default_factory=lambda: dict.fromkeys(Outcome, 0))
    claims: dict[Outcome, int] = field(default_factory=lambda: dict.fromkeys(Outcome, 0))
    failed: dict[int, tuple[str, ...]] = field(default_factory=dict)
    """Reasons by seed of each unit that failed."""

    def add(self, seed: int, result: RunResult) -> None:
        """Count one unit."""
        self.units[result.verdict] += 1
        for claim in result.judgements:
            self.claims[claim.outcome] += 1
        if result.verdict is Outcome.FAIL:
            self.failed[seed] = tuple(c.reason for c in result.judgements if c.outcome is Outcome.FAIL)


def under(limits: LimitSet, rule: str) -> LimitSet:
    """The same requirements, all numbers under one rule."""
    rows = []
    for name, row in limits.rows:
        numbered = row.low is not None or row.high is not None
        guard = row.guard if rule == "guarded" else 0.0
        rows.append((name, row.model_copy(update={"rule": rule, "guard": guard}) if numbered else row))
    return LimitSet(rows, coarse_names=limits.coarse_names, underneath=limits.underneath)


def readings_of(setup: Setup, seed: int) -> list[Reading]:
    """One good unit swept in memory."""
    kept = Kept()
    with open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=()) as opened:
        sweep(opened.bench, plan_of(setup), kept, progress=lambda done, reading: None)
    return kept.readings


def study(setup: Setup, seeds: Sequence[int], rules: Sequence[str] = tuple(DECISION_RULES)) -> dict[str, Tally]:
    """Units by outcome under each rule."""
    tallies = {rule: Tally() for rule in rules}
    for seed in seeds:
        judge = judge_of(setup)
        for reading in readings_of(setup, seed):
            judge.take(reading)
        for rule, tally in tallies.items():
            tally.add(seed, judge.under(under(setup.limits, rule)).result())
    return tallies


def table(tallies: dict[str, Tally]) -> str:
    """For people."""
    lines = [
        f"{'rule':<12}{'PASS':>7}{'FAIL':>6}{'INCONCL':>9}{'INVALID':>9}   false FAIL, upper bound   claims INCONCL"
    ]
    for rule, tally in tallies.items():
        units, fails = sum(tally.units.values()), tally.units[Outcome.FAIL]
        _, upper = share_interval(fails, trials=units, two_sided=False)
        grey, claims = tally.claims[Outcome.INCONCLUSIVE], sum(tally.claims.values())
        counts = (
            tally.units[outcome] for outcome in (Outcome.PASS, Outcome.FAIL, Outcome.INCONCLUSIVE, Outcome.INVALID)
        )
        passed, failed, doubt, bad = counts
        lines.append(
            f"{rule:<12}{passed:>7}{failed:>6}{doubt:>9}{bad:>9}   {fails / units:>8.2%}  <= {upper:.2%}"
            f"          {grey / claims:>8.3%}"
        )
        lines.extend(f"  unit {seed}: {reasons[0]}" for seed, reasons in tally.failed.items())
    return "\n".join(lines)


def main(arguments: Sequence[str]) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.studies.false_fail", description=__doc__)
    parser.add_argument("--units", type=int, default=1000)
    parser.add_argument("--first", type=int, default=1, help="first seed")
    parser.add_argument("--job", default=JOB)
    parser.add_argument("--json", action="store_true")
    wanted = parser.parse_args(arguments)
    tallies = study(read_setup(wanted.job), range(wanted.first, wanted.first + wanted.units))
    if wanted.json:
        print(json.dumps({rule: dataclasses.asdict(tally) for rule, tally in tallies.items()}, indent=1))
    else:
        print(table(tallies))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
