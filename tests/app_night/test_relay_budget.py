"""The relay budget holds for a sweep by itself too: it warns, and it refuses before anything is recorded."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from harness.app.bench_open import open_bench
from harness.app.run import RunRequest, new_header, record_run
from harness.app.setup import Setup, read_setup
from harness.errors import StopCondition
from harness.store import open_store

ROOT = Path(__file__).resolve().parents[2]
TOGGLES = 2
"""One sweep of the ladder below moves K2 as often: it is picked for 5V and dropped for 200mV, once each way."""


@pytest.fixture(scope="module")
def setup(tmp_path_factory: pytest.TempPathFactory) -> Setup:
    path = tmp_path_factory.mktemp("relays") / "job.toml"
    head = (ROOT / "configs/jobs/ci.toml").read_text().split("[ladder]")[0]
    ladder = '[ladder]\nchannels = [1]\ncoarse = ["5V", "200mV"]\nfine = [0]\n'
    path.write_text(head.replace('"../', f'"{ROOT}/configs/') + ladder)
    return read_setup(str(path))


def sweep(setup: Setup, url: str, life: float) -> None:
    limited = dataclasses.replace(setup, device=setup.device.model_copy(update={"relay_life": {"K2": life}}))
    with (
        open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened,
        open_store(url) as store,
    ):
        request = RunRequest(unit="A1", operator="t", faults=())
        assert record_run(limited, opened, store, new_header(limited, opened, request)) is None


def test_a_sweep_warns_at_a_tenth_and_refuses_beyond_half(setup: Setup, tmp_path: Path) -> None:
    url = str(tmp_path / "runs.sqlite")
    sweep(setup, url, life=TOGGLES * 10.0)
    sweep(setup, url, life=TOGGLES * 20.0 - 1.0)
    with pytest.raises(StopCondition, match=rf"{2 * TOGGLES} toggles so far, {TOGGLES} to come, of 11: more than 50%"):
        sweep(setup, url, life=11.0)
    with open_store(url, read_only=True) as store:
        runs = store.runs()
        assert len(runs) == 2
        said = [[e.text for e in store.events(i.header.run_id) if e.kind == "relay-budget"] for i in reversed(runs)]
    words = f"ch1 K2 of unit A1: {TOGGLES} toggles so far, {TOGGLES} to come, of 39: more than 10% of its life"
    assert said == [[], [words]]


def test_the_shipped_device_states_how_long_its_relays_live() -> None:
    device = read_setup(str(ROOT / "configs/jobs/demo.toml"), ladder=False).device
    relays = {relay for stage in device.stage for names in getattr(stage, "relays", {}).values() for relay in names}
    assert set(device.relay_life) == relays == {"K1", "K2"}
