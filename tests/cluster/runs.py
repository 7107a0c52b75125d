"""A lot of real records to be judged anew: a short ladder on the simulated bench, some units with a fault."""

from __future__ import annotations

from pathlib import Path

from harness.app.bench_open import open_bench
from harness.app.run import RunRequest, new_header, record_run
from harness.app.setup import read_setup
from harness.store import Store

ROOT = Path(__file__).parents[2]
LADDER = '[ladder]\nchannels = [1]\ncoarse = ["5V", "2V"]\nfine = [0, 20]\n'
FAULTS = ("", "", "", "relay-not-picking:1", "latch-missing:1")


def job_in(folder: Path) -> Path:
    """The job, written into a folder."""
    head = (ROOT / "configs" / "jobs" / "ci.toml").read_text().split("[ladder]")[0]
    path = folder / "short.toml"
    path.write_text(head.replace('"../', f'"{ROOT}/configs/') + LADDER)
    return path


def record(store: Store, job: Path, units: int) -> None:
    """Sweep so many units into a store."""
    setup = read_setup(str(job))
    for number in range(units):
        faults = tuple(filter(None, (FAULTS[number % len(FAULTS)],)))
        with open_bench(setup.bench, setup.device, transport="in-process", seed=number, faults=faults) as opened:
            header = new_header(setup, opened, RunRequest(unit=f"U{number:03d}", operator="tests", faults=faults))
            record_run(setup, opened, store, header)
