"""A sweep of a simulated bench in this process, its readings kept; nothing is stored."""

from __future__ import annotations

import dataclasses

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.sweep import sweep


class Kept:
    """A recorder that keeps the readings."""

    def __init__(self):
        self.readings = []

    def record(self, reading):
        self.readings.append(reading)

    def note(self, kind, text):
        pass


def swept(setup, *, seed, faults=()):
    """All readings of a setup, on its own simulated bench."""
    kept = Kept()
    with open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=faults) as opened:
        sweep(opened.bench, plan_of(setup), kept, progress=lambda done, reading: None)
    return kept.readings


def decided(setup, readings):
    """The result of a run."""
    judge = judge_of(setup)
    for reading in readings:
        judge.take(reading)
    return judge.result()


def without_words(setup, readings):
    """The same run with no control words captured."""
    silent = dataclasses.replace(setup, job=setup.job.model_copy(update={"capture_words": False}))
    return silent, [dataclasses.replace(r, capture=None, capture_reason="not captured") for r in readings]
