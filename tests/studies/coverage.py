"""Does the stated interval hold the truth: `python -m tests.studies.coverage [--job FILE]... [--draws 2000] [--json]`.

Each draw has its own unit, its own source and pad, its own noise: parts draw from streams of their own, so one seed a
draw makes them independent. The whole path runs: the simulated instruments answer bytes in memory, the drivers, the
sweep and the judge do what they do on a bench, one setting a range (from draw to draw another fine position), read
once. The truth is the simulator's own settled gain with its own bandwidth, asked from a second world of the same seed;
the law has no part in it. Beside it stands what a Monte Carlo of the stated contributions predicts, by their own
distributions.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup, read_setup
from harness.judge.gain_budget import GainBudget
from harness.judge.uncertainty import draw_sum
from harness.simulated import JumpClock, build_world
from harness.sweep import sweep
from harness.values import Direction, Prediction, Rung, Setting
from tests.studies.false_fail import Kept

JOBS = ("configs/jobs/ci.toml", "configs/jobs/tarn-vg-1.toml", "configs/jobs/corrie-ur-2.toml")
LEAST_SHARE, MOST_APART = 0.935, 0.015
PREDICTION_DRAWS = 200_000
CHANNEL = 1


@dataclass(slots=True)
class Held:
    """How often the interval of one range held the truth."""

    name: str
    draws: int = 0
    held: int = 0
    squares: float = 0.0
    expanded_percent: float = 0.0
    predicted_ratio: float = 0.0

    @property
    def share_ratio(self) -> float:
        """Share of the draws."""
        return self.held / self.draws

    @property
    def error_percent(self) -> float:
        """Root mean square of measured less true."""
        return math.sqrt(self.squares / self.draws)

    def good(self, *, slack: float = 0.0) -> bool:
        """Whether the interval holds as often as it says, and as often as its own contributions make it."""
        apart = abs(self.share_ratio - self.predicted_ratio)
        return self.share_ratio >= LEAST_SHARE - slack and apart <= MOST_APART + slack


def cut(setup: Setup, draw: int) -> Setup:
    """One setting a range, upwards; the fine position goes round from draw to draw and range to range."""
    chosen: list[Rung] = []
    for coarse in range(len(setup.device.coarse)):
        here = [
            rung
            for rung in setup.rungs
            if rung.direction is Direction.UP and (rung.setting.channel, rung.setting.coarse) == (CHANNEL, coarse)
        ]
        chosen += here[(draw + coarse) % len(here) :][:1]
    return dataclasses.replace(setup, rungs=tuple(chosen))


def truths(setup: Setup, seed: int) -> dict[Setting, float]:
    """The simulator's own gains, codes a volt, at the test frequency and for small signals."""
    world = build_world(setup.bench.file, seed=seed, faults=(), clock=JumpClock(), file=setup.bench.path)
    return {rung.setting: _true_codes_per_v(setup, world, rung.prediction) for rung in setup.rungs}


def _true_codes_per_v(setup: Setup, world, prediction: Prediction) -> float:
    setting, front = prediction.setting, world.device.front_ends[prediction.setting.channel]
    # What the firmware does for the setting; to a bare gain stage the word is given, as it is on the bench.
    plan = world.device._truth.plan(setting.coarse, setting.fine)
    word = prediction.state.word.value if setup.device.set_by == "adapter" else plan.word
    front.drive(plan, now_s=0.0)
    front.take_word(word, now_s=0.0)
    corner_hz = front.parts.corner_hz(front._picked, front.register)
    return front.gain_codes_per_v() / math.hypot(1.0, setup.device.acquisition.frequency_hz / corner_hz)


def measured(setup: Setup, seed: int) -> tuple[dict[Setting, float], GainBudget]:
    """What a run of good parts measures, and its budget."""
    kept = Kept()
    with open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=()) as opened:
        sweep(opened.bench, plan_of(setup), kept, progress=lambda done, reading: None)
    judge = judge_of(setup)
    for reading in kept.readings:
        judge.take(reading)
    context = judge._context((), judge._plan)
    gains = {setting: item.gain_codes_per_v for setting, item in context.gathered.items()}
    return {setting: gain for setting, gain in gains.items() if gain}, context.uncertainty


def study(job: str, seeds: Sequence[int]) -> list[Held]:
    """One row a range, least sensitive first."""
    whole = read_setup(job)
    rows = {index: Held(name=coarse.name) for index, coarse in enumerate(whole.device.coarse)}
    drawn: set[int] = set()
    for draw, seed in enumerate(seeds):
        setup = cut(whole, draw)
        true, (gains, budget) = truths(setup, seed), measured(setup, seed)
        for setting, gain in gains.items():
            row, error = rows[setting.coarse], 100.0 * math.log(gain / true[setting])
            expanded = budget.gain_expanded_percent(setting)
            if expanded is None:
                raise SystemExit(f"{job}: no uncertainty at {setting}: state one in the bench file")
            row.draws += 1
            row.held += abs(error) <= expanded
            row.squares += error**2
            row.expanded_percent = max(row.expanded_percent, expanded)
            if setting.coarse not in drawn:
                drawn.add(setting.coarse)
                row.predicted_ratio = predicted(budget, setting)
    return [row for row in rows.values() if row.draws]


def predicted(budget: GainBudget, setting: Setting) -> float:
    """How often the interval holds when the stated contributions are drawn, each from its own distribution."""
    contributions = budget.ladder.at(budget.places[setting]).contributions
    errors = draw_sum(contributions, np.random.default_rng(setting.coarse + 1), draws=PREDICTION_DRAWS)
    return float(np.mean(np.abs(errors) <= budget.gain_expanded_percent(setting)))


def lines(job: str, rows: Sequence[Held]) -> Iterator[str]:
    """For people."""
    yield f"{job}: interval of the gain, k = 2, channel {CHANNEL}"
    yield f"{'range':<8}{'draws':>7}{'rms error %':>13}{'U %':>8}{'held':>9}{'Monte Carlo':>13}{'apart':>8}"
    for row in rows:
        apart = row.share_ratio - row.predicted_ratio
        verdict = "" if row.good() else "   NOT HELD"
        yield (
            f"{row.name:<8}{row.draws:>7}{row.error_percent:>13.4f}{row.expanded_percent:>8.3f}{row.share_ratio:>9.2%}"
            f"{row.predicted_ratio:>13.2%}{apart:>+8.2%}{verdict}"
        )


def main(arguments: Sequence[str]) -> int:
    """Print the tables; 1 where an interval does not hold."""
    parser = argparse.ArgumentParser(prog="python -m tests.studies.coverage", description=__doc__)
    parser.add_argument("--draws", type=int, default=2000)
    parser.add_argument("--first", type=int, default=1, help="first seed")
    parser.add_argument("--job", action="append")
    parser.add_argument("--json", action="store_true")
    wanted = parser.parse_args(arguments)
    seeds = range(wanted.first, wanted.first + wanted.draws)
    found = {}
    for job in wanted.job or JOBS:
        found[job] = study(job, seeds)
        if not wanted.json:
            print("\n".join(lines(job, found[job])), flush=True)
    if wanted.json:
        print(json.dumps({job: [dataclasses.asdict(row) for row in rows] for job, rows in found.items()}, indent=1))
    return 0 if all(row.good() for rows in found.values() for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
