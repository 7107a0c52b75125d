"""Same seed, same record to the last reading, also in another process; faults that come by chance included."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import pytest

from harness.app.bench_open import open_bench
from harness.app.run import plan_of
from harness.app.setup import read_setup
from harness.sweep import sweep
from harness.values import Reading

ROOT = Path(__file__).resolve().parents[2]
FAULTS = ("relay-contact-film:1", "logic-level-weak~0.5", "reply-garbled=1e-5", "reply-late:device~0.003")


def record_of(seed: int, faults: tuple[str, ...] = FAULTS) -> str:
    """Hash of everything that a run of the short job records, wall-clock times left out."""
    setup = read_setup(str(ROOT / "configs" / "jobs" / "ci.toml"))
    digest = hashlib.sha256()

    class Hashed:
        def record(self, reading: Reading) -> None:
            parts = [reading.index, reading.setting, reading.direction, reading.status, reading.reason, reading.attempt]
            parts += [reading.drive_read_vpk, reading.started_s, reading.duration_s, reading.read_back]
            if reading.waveform is not None:
                parts += [reading.waveform.codes.tobytes(), reading.waveform.scale_v_per_code]
            if reading.capture is not None:
                parts += [reading.capture.times_ns.tobytes(), reading.capture.levels.tobytes()]
            digest.update(repr(parts).encode())

        def note(self, kind: str, text: str) -> None:
            digest.update(f"{kind} {text}".encode())

    with open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=faults) as opened:
        sweep(opened.bench, plan_of(setup), opened.recorder(Hashed()), progress=lambda done, reading: None)
    return digest.hexdigest()


@pytest.fixture(scope="module")
def first() -> str:
    return record_of(3)


def test_another_process_records_the_same(first: str) -> None:
    code = f"import {__name__.split('.')[-1]} as t; print(t.record_of(3))"
    place = {"PYTHONPATH": f"{ROOT}:{Path(__file__).parent}", "PYTHONHASHSEED": "77", "PATH": "/usr/bin:/bin"}
    ended = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=place, timeout=60
    )
    assert ended.stdout.strip() == first


def test_another_seed_records_something_else(first: str) -> None:
    assert record_of(4) != first


def test_chance_of_one_fault_does_not_shift_that_of_another(make_desk) -> None:  # type: ignore[no-untyped-def]
    def drawn(*faults: str) -> list[float]:
        desk = make_desk(*faults, seed=2)
        fault = desk.world.faults[0]
        desk.drive(1.0)
        for _ in range(3):
            desk.codes()
        return [float(value) for value in fault.dice.random(3)]

    assert drawn("fixture-worn") == drawn("fixture-worn", "intermittent-joint", "logic-level-weak")
