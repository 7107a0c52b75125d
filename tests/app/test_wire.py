"""A sweep over VISA and serial connections on loopback, and what is left of it after a signal."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import time
from pathlib import Path
from typing import Any

import pytest

from harness.config import InstrumentSlot
from harness.drivers import open_link
from tests.app.served_bench import PROGRAM, ROOT, in_store, job, output, served

pytestmark = pytest.mark.wire

SMALL = """
[ladder]
channels = [1]
coarse = ["5V", "20mV", "10mV"]
fine = [0, 10, 20]
"""


def test_every_kind_of_setting_over_socket_hislip_and_a_pseudo_terminal(gainladder: Any, tmp_path: Path) -> None:
    ended = gainladder("sweep", str(job(tmp_path, SMALL)), "--unit", "A1", "--seed", "1", "--json")
    assert ended.code == 0, ended.err
    assert ended.json["counts"]["PASS"] == 9
    assert ended.json["arithmetic_ranges"] == ["10mV"]


def test_check_over_the_wire(gainladder: Any) -> None:
    ended = gainladder("check", "configs/benches/simulated.toml")
    assert ended.code == 0, ended.err
    assert "adapter contract" in ended.out


def test_a_bad_fault_is_a_usage_error_on_the_wire_too(gainladder: Any, tmp_path: Path) -> None:
    ended = gainladder("sweep", str(job(tmp_path, SMALL)), "--unit", "A1", "--fault", "relay-not-pickin")
    assert ended.code == 2
    assert "relay-not-picking" in ended.err


def sweep_of(tmp_path: Path, bench: Path) -> subprocess.Popen[str]:
    whole = job(tmp_path, "[ladder]\nchannels = [1]\n")
    command = [*PROGRAM, "sweep", str(whole), "--unit", "A1", "--bench", str(bench)]
    command += ["--store", str(tmp_path / "runs.sqlite"), "--reports", str(tmp_path / "pages")]
    return subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)


def announced(sweep: subprocess.Popen[str]) -> int:
    """Wait for the first line of progress; the number of readings it announces."""
    assert sweep.stderr is not None
    for line in sweep.stderr:
        found = re.match(r"\[#+ *\] (\d+)/", line)
        if found:
            return int(found[1])
    raise AssertionError("the sweep ended without a word")


def test_after_kill_nine_every_announced_reading_is_there_and_the_source_goes_off_within_two_seconds(
    tmp_path: Path,
) -> None:
    with served(tmp_path) as (addresses, bench):
        with sweep_of(tmp_path, bench) as sweep:
            said = announced(sweep)
            sweep.kill()
            killed_s = time.monotonic()
            sweep.wait(5)
        state = "1"
        while state != "0" and time.monotonic() - killed_s < 2.0:
            state = output(addresses["source"])
        assert state == "0", "the source is still on two seconds after the sweep was killed"
        assert in_store(tmp_path) >= said


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_polite_signal_ends_the_run_with_the_source_off_and_the_record_whole(tmp_path: Path, number: int) -> None:
    with served(tmp_path) as (addresses, bench):
        with sweep_of(tmp_path, bench) as sweep:
            said = announced(sweep)
            sweep.send_signal(number)
            _, rest = sweep.communicate(timeout=15)
            assert sweep.returncode == 130, rest
        assert output(addresses["source"]) == "0"
        assert in_store(tmp_path) >= said
    judged = subprocess.run(
        [*PROGRAM, "judge", "last", "--store", str(tmp_path / "runs.sqlite"), "--json"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert judged.returncode == 3
    assert json.loads(judged.stdout)["complete"] is False


def test_a_port_nobody_listens_on_is_named(gainladder: Any, tmp_path: Path) -> None:
    with served(tmp_path) as (addresses, bench):
        text = bench.read_text()
    ended = gainladder("sweep", str(job(tmp_path, SMALL)), "--unit", "A1", "--bench", str(bench))
    assert text
    assert ended.code == 3
    assert addresses["source"] in ended.err
    assert "Traceback" not in ended.err


def test_an_instrument_with_another_serial_number_is_refused_before_anything_is_set(
    gainladder: Any, tmp_path: Path
) -> None:
    with served(tmp_path) as (_, bench):
        bench.write_text(bench.read_text().replace('serial = "SK', 'serial = "XX'))
        ended = gainladder("sweep", str(job(tmp_path, SMALL)), "--unit", "A1", "--bench", str(bench))
    assert ended.code == 3
    assert "WrongInstrument" in ended.err
    assert "XX" in ended.err


def test_a_serial_port_held_by_somebody_else_is_named(gainladder: Any, tmp_path: Path) -> None:
    with served(tmp_path) as (addresses, bench):
        holder = open_link(InstrumentSlot(profile="x", address=addresses["adapter"]), role="adapter")
        try:
            ended = gainladder("sweep", str(job(tmp_path, SMALL)), "--unit", "A1", "--bench", str(bench))
        finally:
            holder.close()
        assert output(addresses["source"]) == "0"
    assert ended.code == 3
    assert "ResourceBusy" in ended.err
    assert str(os.getpid()) in ended.err
