"""Rows of limits beyond the ladder, Tarn VG-1 and Corrie UR-2: good units pass each, a fault fails each.

`python -m tests.studies.false_fail --job configs/jobs/tarn-vg-1-validation.toml --units 30` asks many good units.
"""

from __future__ import annotations

import dataclasses
import functools

import pytest

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup, extras_of, read_setup
from harness.sweep import sweep
from harness.values import Direction, Outcome, RunResult
from tests.faults.trial import Kept

SHORT = {"tarn-vg-1": (20, 56), "corrie-ur-2": (37, 38, 39, 40)}
"""Fine positions that stand for all."""
LEFT = {"tarn-vg-1": ("low", "high"), "corrie-ur-2": ("60dB", "80dB")}
"""Ranges too."""
FAILS = [
    ("tarn-vg-1", "load-resistor-wrong:2=4", {"gain", "channel-match", "dc-gain"}),
    ("tarn-vg-1", "output-offset:2=15", {"offset"}),
    ("tarn-vg-1", "excess-noise:2=3", {"noise", "input-noise"}),
    ("tarn-vg-1", "output-compression:2=-0.3", {"two-level", "noise"}),
    ("tarn-vg-1", "bandwidth-falls-with-gain:2=0.5", {"second-frequency"}),
    ("tarn-vg-1", "supply-rail-low:2=20", {"clip-level"}),
    ("tarn-vg-1", "leaky-clamp:2=0.6", {"polarity"}),
    ("corrie-ur-2", "input-offset=15", {"offset"}),
    ("corrie-ur-2", "excess-noise=3", {"noise", "input-noise"}),
    ("corrie-ur-2", "output-compression=-0.3", {"two-level"}),
    ("corrie-ur-2", "leaky-clamp=0.6", {"polarity"}),
]
ROWS = {
    "tarn-vg-1": {
        "channel-match", "offset", "noise", "input-noise", "two-level", "second-frequency", "clip-level", "dc-gain",
        "polarity",
    },
    "corrie-ur-2": {"offset", "noise", "input-noise", "two-level", "polarity"},
}  # fmt: skip


@functools.lru_cache
def short(device: str) -> Setup:
    whole = read_setup(f"configs/jobs/{device}-validation.toml")
    rungs = tuple(
        rung
        for rung in whole.rungs
        if rung.direction is Direction.UP
        and rung.setting.fine in SHORT[device]
        and whole.law.coarse_names[rung.setting.coarse] in LEFT[device]
    )
    extras = extras_of(whole.job, whole.device, whole.bench, whole.law, rungs, file=device)
    return dataclasses.replace(whole, rungs=rungs, extras=extras)


def judged(device: str, seed: int, *faults: str) -> RunResult:
    setup, kept = short(device), Kept()
    with open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=faults) as opened:
        sweep(opened.bench, plan_of(setup), kept, progress=lambda done, reading: None)
    judge = judge_of(setup)
    for reading in kept.readings:
        judge.take(reading)
    return judge.result(kept.events)


@pytest.mark.parametrize("device", list(SHORT))
def test_good_units_pass_every_row_and_every_row_is_measured(device: str) -> None:
    result = judged(device, 7)
    claims = result.judgements
    assert [claim.reason for claim in claims if claim.outcome is not Outcome.PASS] == []
    assert {claim.item for claim in claims} >= ROWS[device]
    assert not ROWS[device] & set(result.unmeasured)
    assert all(claim.expanded is not None for claim in claims if claim.item in ROWS[device] - {"second-frequency"})


@pytest.mark.parametrize(("device", "fault", "items"), FAILS, ids=[f"{device} {fault}" for device, fault, _ in FAILS])
def test_a_fault_fails_its_row(device: str, fault: str, items: set[str]) -> None:
    failed = {claim.item for claim in judged(device, 1, fault).judgements if claim.outcome is Outcome.FAIL}
    assert items <= failed
    # What the fault does not touch stands: the gain of sines, but where the gain itself is off.
    assert ("gain" in failed) is ("gain" in items)


def test_every_row_has_a_fault_that_fails_it() -> None:
    for device, rows in ROWS.items():
        assert rows == {item for name, _, items in FAILS if name == device for item in items} - {"gain"}
