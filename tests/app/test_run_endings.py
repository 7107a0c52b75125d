"""How a run ends when something outside the device goes wrong: exit code, one message, and what the record says."""

from __future__ import annotations

import dataclasses
import json
import os
import resource
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from harness.app.run import plan_of
from harness.app.setup import read_setup
from harness.errors import LinkLost, StoreUnavailable
from harness.store.recorder import RunRecorder

ROOT = Path(__file__).resolve().parents[2]
JOB = "configs/jobs/ci.toml"
PROGRAM = [sys.executable, "-m", "harness.app.main"]


def program(*words: str, **options: Any) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run([*PROGRAM, *words], cwd=ROOT, env=environment, text=True, check=False, timeout=60, **options)


def test_a_disk_that_fills_in_mid_run_is_one_message_and_the_record_stays_readable(
    gainladder: Any, tmp_path: Path
) -> None:
    # No file of the process may grow beyond 1 MB: what a full disk looks like to the store.
    def small() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))

    store = str(tmp_path / "runs.sqlite")
    ended = program(
        "sweep", JOB, "--unit", "A1", "--store", store, "--reports", str(tmp_path / "pages"),
        preexec_fn=small, capture_output=True,
    )  # fmt: skip
    assert ended.returncode == 3, ended.stderr
    messages = [line for line in ended.stderr.splitlines() if line.startswith("error: ")]
    assert len(messages) == 1
    assert "recording reading " in messages[0]
    assert "disk" in messages[0]
    assert "or name another store with --store" in messages[0]
    assert "Traceback" not in ended.stderr
    assert ended.stdout == ""
    assert list((tmp_path / "pages").iterdir()) == []
    (run,) = json.loads(program("runs", "--json", "--store", store, capture_output=True).stdout)
    assert 0 < run["readings"] < run["planned"]
    assert run["end"] in ("", "stopped")
    again = gainladder("judge", "last", "--store", store)
    assert again.code == 3
    assert again.out.startswith("INVALID")


def fails_at(monkeypatch: pytest.MonkeyPatch, index: int, error: BaseException) -> None:
    record = RunRecorder.record

    def recorded(self: RunRecorder, reading: Any) -> None:
        if reading.index == index:
            raise error
        record(self, reading)

    monkeypatch.setattr(RunRecorder, "record", recorded)


@pytest.mark.parametrize(
    ("error", "code", "end", "said"),
    [
        (StoreUnavailable("the disk is full"), 3, "stopped", "error: the disk is full"),
        (LinkLost("it is gone"), 3, "stopped", "LinkLost: it is gone"),
        (KeyboardInterrupt(), 130, "interrupted", "interrupted; the source was switched off"),
        (ZeroDivisionError("ours"), 6, "stopped", "internal error, please report it: ZeroDivisionError: ours"),
    ],
    ids=["store", "link", "key", "internal"],
)
def test_the_record_says_how_a_run_ended(
    gainladder: Any, monkeypatch: pytest.MonkeyPatch, error: BaseException, code: int, end: str, said: str
) -> None:
    def sweep(*places: Any, **keys: Any) -> None:
        raise error

    if isinstance(error, LinkLost):
        monkeypatch.setattr("harness.app.run.Walk.portion", sweep)
    fails_at(monkeypatch, 5, error)
    ended = gainladder("sweep", JOB, "--unit", "A1")
    assert ended.code == code
    assert said in ended.err
    (run,) = gainladder("runs", "--json").json
    assert run["end"] == end


def test_a_store_that_cannot_take_the_end_does_not_hide_why_the_run_ended(
    gainladder: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    fails_at(monkeypatch, 5, StoreUnavailable("the disk is full"))

    def finish(self: RunRecorder, end: str, text: str = "") -> None:
        raise StoreUnavailable("full again")

    monkeypatch.setattr(RunRecorder, "finish", finish)
    ended = gainladder("sweep", JOB, "--unit", "A1")
    assert ended.code == 3
    assert ended.err.count("error: ") == 1
    assert "error: the disk is full" in ended.err
    (run,) = gainladder("runs", "--json").json
    assert run["end"] == ""
    assert run["readings"] == 5


@pytest.mark.parametrize("error", [LinkLost("it is gone"), KeyboardInterrupt()])
def test_a_source_that_may_still_be_on_is_told_with_the_error(
    gainladder: Any, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    def sweep(*places: Any, **keys: Any) -> None:
        error.add_note("THE SOURCE MAY STILL BE ON: deaf")
        raise error

    monkeypatch.setattr("harness.app.run.Walk.portion", sweep)
    ended = gainladder("sweep", JOB, "--unit", "A1")
    assert ended.code == (130 if isinstance(error, KeyboardInterrupt) else 3)
    assert "THE SOURCE MAY STILL BE ON: deaf" in ended.err
    assert "was switched off" not in ended.err


def test_a_reader_that_has_gone_is_never_a_pass() -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    try:
        ended = program("faults", stdout=write_end, stderr=subprocess.PIPE)
    finally:
        os.close(write_end)
    assert ended.returncode == 3
    assert ended.stderr == ""


# ---- the level limit


def with_wiring(told_ohm: float | str, max_level_vpk: float, input_vpk: float) -> Any:
    setup = read_setup(str(ROOT / JOB))
    wiring = setup.bench.file.wiring.model_copy(update={"told_ohm": told_ohm, "load_ohm": 50.0})
    file = setup.bench.file.model_copy(update={"wiring": wiring, "max_level_vpk": max_level_vpk})
    limits = tuple(limit.model_copy(update={"max_vpk": input_vpk}) for limit in setup.device.input.limit)
    device = setup.device.model_copy(update={"input": setup.device.input.model_copy(update={"limit": limits})})
    return dataclasses.replace(setup, bench=dataclasses.replace(setup.bench, file=file), device=device)


# Closed form: told 50 Ω behind 50 Ω the source puts out twice the set level once the load is gone, told high-z the
# level itself; the source makes 10 V peak into an open circuit.
@pytest.mark.parametrize(
    ("told_ohm", "max_level_vpk", "input_vpk", "limit_vpk"),
    [
        ("high-z", 8.0, 30.0, 8.0),
        ("high-z", 20.0, 5.0, 5.0),
        ("high-z", 20.0, 30.0, 10.0),
        (50.0, 8.0, 30.0, 4.0),
        (50.0, 20.0, 5.0, 2.5),
        (50.0, 20.0, 30.0, 5.0),
    ],
)
def test_the_sweep_may_ask_for_no_more_than_the_limits_allow_with_the_load_gone(
    told_ohm: float | str, max_level_vpk: float, input_vpk: float, limit_vpk: float
) -> None:
    plan = plan_of(with_wiring(told_ohm, max_level_vpk, input_vpk))
    assert plan.level_limit_vpk == pytest.approx(limit_vpk)
    assert plan.level_least_vpk == pytest.approx(0.0005 if told_ohm == "high-z" else 0.00025)
