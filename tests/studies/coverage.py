"""Does the stated interval hold the truth: `python -m tests.studies.coverage [--job FILE]... [--draws 2000] [--json]`.

Each draw has its own unit, its own source and pad, its own noise: parts draw from streams of their own, so one seed a
draw makes them independent. The whole path runs: the simulated instruments answer bytes in memory, the drivers, the
sweep and the judge do what they do on a bench, one setting a range (from draw to draw another fine position), read
once. The truth is the simulator's own settled gain with its own bandwidth, asked from a second world of the same seed;
the law has no part in it. Beside it stands what a Monte Carlo of the stated contributions predicts, by their own
distributions.

The parameters of the law fitted to these few readings are asked too, where the limits file makes claims about them:
their truth is what an exact fit to the simulator's own gains at every setting of the job gives. Where the unit is not
quite as the law (weights of bits, carries), the scatter of the residuals widens their interval, so that no such Monte
Carlo stands beside them.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup, read_setup
from harness.judge.claims import Context
from harness.judge.gain_budget import GainBudget
from harness.judge.uncertainty import draw_sum
from harness.law import GainLaw, fit_law
from harness.simulated import JumpClock, build_world
from harness.sweep import sweep
from harness.values import Direction, Prediction, Rung, Setting
from tests.studies.false_fail import Kept

JOBS = ("configs/jobs/ci.toml", "configs/jobs/tarn-vg-1.toml", "configs/jobs/corrie-ur-2.toml")
LEAST_SHARE, MOST_APART = 0.935, 0.015
PREDICTION_DRAWS = 200_000
CHANNEL = 1
PLAIN_U_PERCENT = 0.02
"""Weight of each true gain in an exact fit: the same for all."""


@dataclass(slots=True)
class Held:
    """How often the interval of one range held the truth."""

    name: str
    draws: int = 0
    held: int = 0
    squares: float = 0.0
    expanded_percent: float = 0.0
    predicted_ratio: float | None = 0.0
    """None where no Monte Carlo is asked for."""

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
        apart = 0.0 if self.predicted_ratio is None else abs(self.share_ratio - self.predicted_ratio)
        return self.share_ratio >= LEAST_SHARE - slack and apart <= MOST_APART + slack

    def take(self, error: float, expanded: float) -> None:
        """One draw, percent."""
        self.draws += 1
        self.held += abs(error) <= expanded
        self.squares += error**2
        self.expanded_percent = max(self.expanded_percent, expanded)


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
    predictions = {rung.setting: rung.prediction for rung in setup.rungs if rung.setting.channel == CHANNEL}
    return {setting: _true_codes_per_v(setup, world, prediction) for setting, prediction in predictions.items()}


def true_parameters(law: GainLaw, true: Mapping[Setting, float]) -> dict[str, float]:
    """Deviations of the parameters that the simulator's own gains have, percent."""
    gains = np.array(list(true.values()))
    fit = fit_law(law, list(true), gains, u_percent=PLAIN_U_PERCENT, robust=False)
    return {parameter.name: parameter.deviation_percent for parameter in fit.parameters}


def _true_codes_per_v(setup: Setup, world, prediction: Prediction) -> float:
    setting, front = prediction.setting, world.device.front_ends[prediction.setting.channel]
    # What the firmware does for the setting; to a bare gain stage the word is given, as it is on the bench.
    plan = world.device._truth.plan(setting.coarse, setting.fine)
    word = prediction.state.word.value if setup.device.set_by == "adapter" else plan.word
    front.drive(plan, now_s=0.0)
    front.take_word(word, now_s=0.0)
    corner_hz = front.parts.corner_hz(front._picked, front.register)
    return front.gain_codes_per_v() / math.hypot(1.0, setup.device.acquisition.frequency_hz / corner_hz)


def measured(setup: Setup, seed: int) -> tuple[dict[Setting, float], Context]:
    """What a run of good parts measures: gains, and how it is judged."""
    kept = Kept()
    with open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=()) as opened:
        sweep(opened.bench, plan_of(setup), kept, progress=lambda done, reading: None)
    judge = judge_of(setup)
    for reading in kept.readings:
        judge.take(reading)
    context = judge._context((), judge._taken.plan)
    gains = {setting: item.gain_codes_per_v for setting, item in context.gathered.items()}
    return {setting: gain for setting, gain in gains.items() if gain}, context


def study(job: str, seeds: Sequence[int]) -> list[Held]:
    """One row a range, least sensitive first, then one a parameter."""
    whole = read_setup(job)
    rows = {index: Held(name=coarse.name) for index, coarse in enumerate(whole.device.coarse)}
    claimed = any(name.startswith("parameter ") for name in whole.limits)
    fitted: dict[str, Held] = {}
    drawn: set[int] = set()
    for draw, seed in enumerate(seeds):
        setup = cut(whole, draw)
        true, (gains, context) = truths(whole if claimed else setup, seed), measured(setup, seed)
        budget = context.uncertainty
        parameters = true_parameters(context.law, true) if claimed else {}
        for found in context.parameters if claimed else ():
            if found.identifiable and found.expanded_percent is not None:
                row = fitted.setdefault(found.name, Held(name=found.name, predicted_ratio=None))
                row.take(found.deviation_percent - parameters[found.name], found.expanded_percent)
        for setting, gain in gains.items():
            row, error = rows[setting.coarse], 100.0 * math.log(gain / true[setting])
            expanded = budget.gain_expanded_percent(setting)
            if expanded is None:
                raise SystemExit(f"{job}: no uncertainty at {setting}: state one in the bench file")
            row.take(error, expanded)
            if setting.coarse not in drawn:
                drawn.add(setting.coarse)
                row.predicted_ratio = predicted(budget, setting)
    return [row for row in (*rows.values(), *fitted.values()) if row.draws]


def predicted(budget: GainBudget, setting: Setting) -> float:
    """How often the interval holds when the stated contributions are drawn, each from its own distribution."""
    contributions = budget.ladder.at(budget.places[setting]).contributions
    errors = draw_sum(contributions, np.random.default_rng(setting.coarse + 1), draws=PREDICTION_DRAWS)
    return float(np.mean(np.abs(errors) <= budget.gain_expanded_percent(setting)))


def lines(job: str, rows: Sequence[Held]) -> Iterator[str]:
    """For people."""
    yield f"{job}: intervals of the gain and of the fitted parameters, k = 2, channel {CHANNEL}"
    yield f"{'range':<16}{'draws':>7}{'rms error %':>13}{'U %':>8}{'held':>9}{'Monte Carlo':>13}{'apart':>8}"
    for row in rows:
        beside = "" if row.predicted_ratio is None else f"{row.predicted_ratio:.2%}"
        apart = "" if row.predicted_ratio is None else f"{row.share_ratio - row.predicted_ratio:+.2%}"
        verdict = "" if row.good() else "   NOT HELD"
        yield (
            f"{row.name:<16}{row.draws:>7}{row.error_percent:>13.4f}{row.expanded_percent:>8.3f}{row.share_ratio:>9.2%}"
            f"{beside:>13}{apart:>8}{verdict}"
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
