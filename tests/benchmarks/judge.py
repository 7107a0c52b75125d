"""How fast budgets and decisions are: the arrays of a whole ladder against one budget after the other, and each rule.

Run: python -m tests.benchmarks.judge
"""

from __future__ import annotations

import time

import numpy as np

from harness.judge.decision import DECISION_RULES, Request, decide_by, rule_risk
from harness.judge.uncertainty import (
    Contribution,
    LadderBudget,
    Shape,
    fit_noise,
    nonlinearity,
    range_term,
    reading_accuracy,
    rounding,
)

READINGS = 10_000
SINGLE = 200
"""Budgets made one by one: timed on these and scaled up."""


def _least_s(work, repeats=5):
    """Least time of several runs: other processes only ever add to it."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def _ladder(noise_code):
    rng = np.random.default_rng(4)
    amplitude = rng.uniform(1000.0, 1800.0, READINGS)
    noise = rng.uniform(*noise_code, READINGS)
    level = 10.0 ** rng.uniform(-3.0, 1.0, READINGS)
    decade = np.ceil(np.log10(level))
    return LadderBudget(
        fixed=(
            reading_accuracy("source", 0.3),
            Contribution(name="repeatability", value_percent=0.02, shape=Shape.STUDENT, dof=900.0),
        ),
        series=(
            fit_noise(amplitude, noise_code=noise, samples=4096, readings=2),
            rounding(amplitude, noise_code=noise),
            nonlinearity(amplitude, inl_code=0.5),
            range_term(
                "source, range", level, range_v=10.0**decade, percent_of_range=0.01, groups=decade.astype(np.int64)
            ),
        ),
    )


def measure():
    """Times in ms, and how many times faster arrays are than one budget after the other."""
    ladder = _ladder((0.3, 0.6))
    lower, upper = np.arange(READINGS - 1), np.arange(1, READINGS)
    request = Request(expanded=0.44, low=-2.0, high=2.0)

    def whole():
        ladder.absolute().expanded_percent(probability_ratio=0.95)
        ladder.steps(lower, upper).expanded_percent(probability_ratio=0.95)

    def singly():
        for place in range(SINGLE):
            ladder.at(place).expanded_percent(probability_ratio=0.95)

    whole_s, singly_s = _least_s(whole), _least_s(singly) * READINGS / SINGLE
    times = {
        "build_ms": 1e3 * _least_s(lambda: _ladder((0.3, 0.6))),
        "build_quiet_ms": 1e3 * _least_s(lambda: _ladder((0.0, 0.3)), repeats=2),
        "absolute_and_steps_ms": 1e3 * whole_s,
        "one_by_one_ms": 1e3 * singly_s,
        "one_by_one_over_arrays": singly_s / whole_s,
    }
    for rule in DECISION_RULES:
        times[f"decide_{rule}_us"] = (
            1e6 / 1000 * _least_s(lambda r=rule: [decide_by(r, 0.3, request) for _ in range(1000)])
        )
    times["risk_of_a_rule_ms"] = 1e3 * _least_s(lambda: rule_risk("managed", cpk_ratio=1.0, tur_ratio=2.0))
    return times


if __name__ == "__main__":
    for name, value in measure().items():
        print(f"{name:28s} {value:10.3f}")
