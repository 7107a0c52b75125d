"""Recorded runs of a simulated bench in memory, with the bench at hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from harness.app.bench_open import OpenBench, open_bench
from harness.app.calibrate_run import CalibratedRun, calibrate_run
from harness.app.run import RunRequest, new_header, record_run
from harness.app.setup import Setup, read_setup
from harness.store import Store, open_store

ROOT = Path(__file__).resolve().parents[2]
LADDER = """
[ladder]
channels = [1, 2]
coarse = ["5V", "200mV", "10mV"]
fine = [0, 10, 20]
directions = ["up"]
"""


class Desk(NamedTuple):
    """A bench that stays open, the store, and how to sweep."""

    setup: Setup
    opened: OpenBench
    store: Store

    def sweep(self) -> str:
        """Walk the ladder once and record it; the run id."""
        header = new_header(self.setup, self.opened, RunRequest(unit="A1", operator="tests", faults=()))
        assert record_run(self.setup, self.opened, self.store, header) is None
        return header.run_id

    def calibrated(self) -> CalibratedRun:
        """Sweep, and what comes of it."""
        return calibrate_run(self.store, self.sweep())


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A short job with absolute paths."""
    head = (ROOT / "configs/jobs/ci.toml").read_text().split("[ladder]")[0]
    path = tmp_path / "job.toml"
    path.write_text(head.replace('"../', f'"{ROOT}/configs/') + LADDER)
    return path


@pytest.fixture
def store_path(tmp_path: Path) -> str:
    return str(tmp_path / "runs.sqlite")


@pytest.fixture
def make_desk(job: Path, store_path: str) -> Iterator[Callable[..., Desk]]:
    """Opens benches and closes them, and the store, again."""
    with ExitStack() as stack:
        store = stack.enter_context(open_store(store_path))

        def make(*faults: str, seed: int = 1, setup: Setup | None = None, **changes: Any) -> Desk:
            chosen = setup or read_setup(str(job))
            opened = stack.enter_context(
                open_bench(chosen.bench, chosen.device, transport="in-process", seed=seed, faults=faults)
            )
            return Desk(chosen, opened, store)

        yield make
