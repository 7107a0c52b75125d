"""What the app refuses by itself: folders, files, benches that do not fit, a bench that does not start."""

from __future__ import annotations

import dataclasses
import os
import shutil
import signal
from pathlib import Path
from typing import Any

import pytest

from harness.app.bench_check import check_bench
from harness.app.bench_open import open_bench
from harness.app.output import ready_folder, write_file
from harness.app.setup import read_setup
from harness.app.signals import interruptible
from harness.app.wire_bench import served_bench
from harness.drivers import SourceDriver
from harness.errors import ConfigError, ConformanceError, OpenFailed, ReportError, UsageError

ROOT = Path(__file__).resolve().parents[2]
JOB = str(ROOT / "configs/jobs/ci.toml")


def test_a_folder_that_takes_no_file_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("harness.app.output._takes_a_file", lambda folder: False)
    with pytest.raises(UsageError, match="not writable; mend its permissions or name another with --reports"):
        ready_folder(str(tmp_path))


def test_a_page_that_cannot_be_written_leaves_nothing_half_written(tmp_path: Path) -> None:
    (tmp_path / "page.html").mkdir()
    with pytest.raises(ReportError, match=r"cannot be written: .*; the record is complete, see `gainladder report`"):
        write_file(tmp_path / "page.html", "text")
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]


def test_the_first_signal_interrupts_and_the_others_are_ignored() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with interruptible():
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGTERM)
        os.kill(os.getpid(), signal.SIGTERM)
        os.kill(os.getpid(), signal.SIGINT)
    assert signal.getsignal(signal.SIGTERM) is before


def test_a_bench_that_does_not_start_says_what_it_said() -> None:
    with (
        pytest.raises(OpenFailed, match=r"the simulated bench did not start: .*No such file or directory"),
        served_bench(str(ROOT / "configs/benches/nothing.toml"), seed=1, faults=()),
    ):
        pytest.fail("it was served")


def test_an_adapter_without_a_bus_in_the_device_file_is_refused() -> None:
    setup = read_setup(JOB)
    device = setup.device.model_copy(update={"bus": None})
    with (
        pytest.raises(ConfigError, match=r"adapter: got an adapter; allowed: none: the device file has no \[bus\]"),
        open_bench(setup.bench, device, transport="in-process", seed=1, faults=()),
    ):
        pytest.fail("it was opened")


def test_a_device_set_through_the_adapter_needs_one() -> None:
    setup = read_setup(str(ROOT / "configs/jobs/tarn-vg-1.toml"))
    file = setup.bench.file.model_copy(update={"adapter": None})
    with (
        pytest.raises(ConfigError, match=r"adapter: got nothing; allowed: an \[adapter\]: the words of the Tarn VG-1"),
        open_bench(
            dataclasses.replace(setup.bench, file=file), setup.device, transport="in-process", seed=1, faults=()
        ),
    ):
        pytest.fail("it was opened")


def test_an_interlock_that_lets_a_level_pass_condemns_the_bench(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    set_level = SourceDriver.set_level

    def careless(self: Any, level_vpk: float) -> float:
        return level_vpk if level_vpk == 45.0 else set_level(self, level_vpk)

    monkeypatch.setattr(SourceDriver, "set_level", careless)
    home = tmp_path / "configs"
    shutil.copytree(ROOT / "configs", home)
    bench = home / "benches/simulated.toml"
    text = bench.read_text()
    assert 'transport = "wire"' in text
    bench.write_text(text.replace('transport = "wire"', 'transport = "in-process"'))
    with pytest.raises(
        ConformanceError, match="the interlock let 45 V peak pass; the input bears 30 V peak: do not use"
    ):
        check_bench(str(bench), device_path="", seed=1, faults=())
