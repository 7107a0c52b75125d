"""The Tarn VG-1 on its simulated bench, with or without noise, for readings at steady levels."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Iterator
from typing import Any

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import BenchSetup, Setup, extras_of, read_setup
from harness.config import Extra
from harness.sweep import sweep
from harness.values import Reading, RunResult
from tests.studies.false_fail import Kept
from tests.sweep.spied_bench import Rig

JOB = "configs/jobs/tarn-vg-1.toml"
WHOLE = read_setup(JOB)
QUIET = {
    "noise": {"input_v": 1.0e-7, "converter_code": 0.02},
    "converter": {"dnl_lsb": 0.0, "compression_percent": 0.0},
    "spread": {"drift_percent": 0.0, "tempco_ppm": 0.0},
}
"""Truth of a board whose converter has next to no noise, even codes and no compression, and that does not drift."""


def truth(bench: BenchSetup, **unit: dict[str, Any]) -> BenchSetup:
    """The bench with other numbers in tables of its unit, and an exact source."""
    assert bench.file.simulation is not None
    tables = bench.file.simulation.model_dump()
    tables["source"] |= {"common_percent": 0.0, "range_percent": 0.0}
    for name, table in unit.items():
        tables["unit"][name] = {**tables["unit"][name], **table}
    section = bench.file.simulation.model_validate(tables)
    return dataclasses.replace(bench, file=bench.file.model_copy(update={"simulation": section}))


def steady_setup(*, quiet: bool = False, fines: tuple[int, ...] = (0, 56), channel: int = 1, **asked: Any) -> Setup:
    """A short ladder of one channel, and its readings at steady levels."""
    job = WHOLE.job.model_copy(update={"extra": Extra.model_validate({"dc_fill": 0.75, **asked})})
    rungs = tuple(
        rung
        for rung in WHOLE.rungs[: len(WHOLE.rungs) // 2]
        if rung.setting.fine in fines and rung.setting.channel == channel
    )
    bench = truth(WHOLE.bench, **QUIET) if quiet else WHOLE.bench
    setup = dataclasses.replace(WHOLE, job=job, bench=bench, rungs=rungs, extras=())
    return dataclasses.replace(
        setup, extras=extras_of(job, setup.device, bench, setup.law, rungs, file="job.toml")
    )


def read(setup: Setup, *, seed: int = 1, faults: tuple[str, ...] = ()) -> list[Reading]:
    """All readings of one unit."""
    kept = Kept()
    with open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=faults) as opened:
        sweep(opened.bench, plan_of(setup), kept, progress=lambda done, reading: None)
    return kept.readings


def judged(setup: Setup, readings: list[Reading]) -> RunResult:
    """The result of readings."""
    judge = judge_of(setup)
    for reading in readings:
        judge.take(reading)
    return judge.result()


@contextlib.contextmanager
def steady_rig(setup: Setup) -> Iterator[Rig]:
    """The bench with every call written down."""
    with open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened:
        rig = Rig(opened.bench, setup.rungs)
        rig.plan = plan_of(setup)
        yield rig
