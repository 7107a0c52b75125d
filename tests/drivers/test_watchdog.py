from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from harness.config import InstrumentSlot
from harness.drivers import Watchdog
from harness.drivers.locks import ResourceLock
from harness.drivers.watchdog import BEAT, REST, switch_off
from harness.drivers.watchdog_child import Alive, _switch_off
from harness.errors import BenchError, ConfigError, LinkLost, OpenFailed

ROOT = Path(__file__).resolve().parents[2]
PROFILE = ROOT / "configs/instruments/machair-sg-1.toml"


class Served:
    """A source on loopback that keeps what it was told."""

    def __init__(self, line_server):
        self.heard: list[str] = []
        self.state = "1"
        self.port = line_server(self.answer).port
        self.address = f"TCPIP::127.0.0.1::{self.port}::SOCKET"
        self.slot = InstrumentSlot(profile="source.toml", address=self.address)

    def answer(self, message):
        self.heard.append(message)
        if message == "OUTP OFF":
            self.state = "0"
        return f"{self.state}\n".encode() if message == "OUTP?" else b""


@pytest.fixture
def served(line_server):
    return Served(line_server)


PARENT = """
import sys, time, os, subprocess
from harness.config import InstrumentSlot
from harness.drivers import Watchdog
slot = InstrumentSlot(profile="source.toml", address=sys.argv[1])
with Watchdog(slot, open(sys.argv[2]).read(), hang_s=0.5) as watchdog:
    print(watchdog.pid, flush=True)
    if sys.argv[3] == "beat":
        watchdog.beat()
    if sys.argv[3] == "rest":
        watchdog.beat()
        watchdog.rest()
    if sys.argv[3] == "leak":
        subprocess.Popen(["sleep", "4"], close_fds=False, pass_fds=[watchdog._child.stdin.fileno()])
    print("go", flush=True)
    time.sleep(30)
"""


def start_parent(served, how):
    command = [sys.executable, "-c", PARENT, served.address, str(PROFILE), how]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    parent = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
    assert parent.stdout is not None
    child = int(parent.stdout.readline())
    assert parent.stdout.readline() == "go\n"
    return parent, child


def test_after_the_word_the_source_is_not_touched(served):
    with Watchdog(served.slot, PROFILE.read_text()) as watchdog:
        assert watchdog.pid > 0
        watchdog.safe()
        watchdog.safe()
    assert served.heard == []
    assert watchdog.pid == 0


def test_without_the_word_the_source_goes_off_and_is_read_back(served, profile):
    started_s = time.monotonic()
    with Watchdog(served.slot, profile("source")):
        opened_s = time.monotonic()
    assert served.heard == ["OUTP OFF", "OUTP?"]
    assert opened_s - started_s < 30.0
    assert time.monotonic() - opened_s < 2.0


def test_an_error_inside_is_no_word(served, profile):
    with pytest.raises(RuntimeError, match="trouble"), Watchdog(served.slot, profile("source")):
        raise RuntimeError("trouble")
    assert served.state == "0"


@pytest.mark.parametrize("how", ["alone", "leak"])
def test_after_a_kill_the_source_is_off_within_two_seconds(served, wait_for, how):
    # "leak": another process has inherited the pipe, so that it does not close.
    parent, child = start_parent(served, how)
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        os.kill(child, number)
    assert served.heard == []
    parent.kill()
    killed_s = time.monotonic()
    assert wait_for(lambda: served.heard == ["OUTP OFF", "OUTP?"])
    assert time.monotonic() - killed_s < 2.0
    parent.wait()
    assert parent.stdout is not None
    parent.stdout.close()


def test_a_sweep_that_hangs_is_made_safe_and_told_to_end(served, wait_for):
    parent, _ = start_parent(served, "beat")
    os.kill(parent.pid, signal.SIGSTOP)
    stopped_s = time.monotonic()
    assert wait_for(lambda: served.heard == ["OUTP OFF", "OUTP?"])
    assert time.monotonic() - stopped_s < 2.0
    # The word to end waits until the process can hear it: it must not go on as if nothing had been switched.
    os.kill(parent.pid, signal.SIGCONT)
    assert parent.wait(5.0) == -signal.SIGTERM
    assert parent.stdout is not None
    parent.stdout.close()


def test_at_rest_no_sign_of_life_is_due(served, wait_for):
    parent, _ = start_parent(served, "rest")
    # Longer than the half second that is borne after a beat.
    with pytest.raises(subprocess.TimeoutExpired):
        parent.wait(1.2)
    assert served.heard == []
    parent.kill()
    parent.wait()
    assert wait_for(lambda: served.heard == ["OUTP OFF", "OUTP?"])
    assert parent.stdout is not None
    parent.stdout.close()


def test_signs_of_life_are_timed_from_the_last_one():
    alive = Alive(10.0)
    assert not alive.is_overdue(1e9)
    alive.heard(BEAT, 100.0)
    assert not alive.is_overdue(110.0)
    assert alive.is_overdue(110.1)
    alive.heard(BEAT, 105.0)
    assert not alive.is_overdue(115.0)
    alive.heard(b"noise", 300.0)
    assert alive.is_overdue(300.0)
    alive.heard(REST, 300.0)
    assert not alive.is_overdue(1e9)


def test_signs_of_life_are_sent_once_a_second_at_most_and_anew_after_a_rest(served, profile, monkeypatch):
    watchdog = Watchdog(served.slot, profile("source"))
    said = []
    monkeypatch.setattr(watchdog, "_say", said.append)
    now_s = [50.0]
    monkeypatch.setattr("harness.drivers.watchdog.time.monotonic", lambda: now_s[0])
    for step_s in (0.0, 0.4, 0.5, 0.2):
        now_s[0] += step_s
        watchdog.beat()
    assert said == [BEAT, BEAT]
    watchdog.rest()
    watchdog.beat()
    assert said == [BEAT, BEAT, REST, BEAT]


def test_the_child_is_out_of_reach_of_ctrl_c(served, profile):
    with Watchdog(served.slot, profile("source")) as watchdog:
        assert os.getsid(watchdog.pid) == watchdog.pid
        assert os.getpgid(watchdog.pid) != os.getpgid(0)
        watchdog.safe()


def test_the_child_does_not_want_the_lock(served, profile):
    lock = ResourceLock(served.address)
    with Watchdog(served.slot, profile("source")):
        pass
    lock.release()
    assert served.state == "0"


def test_a_child_that_does_not_start_stops_the_run(served, profile, tmp_path, monkeypatch):
    silly = tmp_path / "python"
    silly.write_text("#!/bin/sh\necho sorry\n")
    silly.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(silly))
    with (
        pytest.raises(OpenFailed, match=r"the watchdog process did not start .it said b'sorry"),
        Watchdog(served.slot, profile("source")),
    ):
        pytest.fail("entered")


def test_a_child_that_does_not_end_is_killed(served, profile, tmp_path, monkeypatch):
    deaf = tmp_path / "python"
    deaf.write_text("#!/bin/sh\necho ready\nexec sleep 30\n")
    deaf.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(deaf))
    monkeypatch.setattr("harness.drivers.watchdog.END_S", 0.2)
    with Watchdog(served.slot, profile("source")) as watchdog:
        pid = watchdog.pid
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_leaving_twice_is_harmless(served, profile):
    watchdog = Watchdog(served.slot, profile("source"))
    watchdog.safe()
    watchdog.__exit__(None, None, None)
    assert watchdog.pid == 0


def test_a_child_without_orders_ends():
    command = [sys.executable, "-m", "harness.drivers.watchdog_child"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, input=b"", capture_output=True, env=environment, timeout=30.0, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


def test_a_profile_that_is_no_profile_is_refused():
    with pytest.raises(ConfigError, match=r"source.toml: \(text\)"):
        Watchdog(InstrumentSlot(profile="source.toml"), "nonsense")


def orders(served):
    return Watchdog(served.slot, PROFILE.read_text())._orders


def test_switch_off_reads_back(served):
    assert switch_off(orders(served)) == "0"


def test_an_output_that_stays_on_is_an_error(line_server):
    server = line_server(lambda message: b"1\n" if message == "OUTP?" else b"")
    slot = InstrumentSlot(profile="x", address=f"TCPIP::127.0.0.1::{server.port}::SOCKET")
    with pytest.raises(BenchError, match="the output reads back '1' after output off"):
        switch_off(Watchdog(slot, PROFILE.read_text())._orders)


def test_a_source_out_of_reach_is_tried_for_a_while_then_told(served, monkeypatch, capsys):
    tries = []

    def fail(orders):
        tries.append(1)
        raise LinkLost("gone", address="there")

    monkeypatch.setattr("harness.drivers.watchdog_child.switch_off", fail)
    monkeypatch.setattr("harness.drivers.watchdog_child.TRY_FOR_S", 0.3)
    assert _switch_off(orders(served)) == 3
    assert len(tries) >= 2
    assert "watchdog: Machair SG-1 may still be on; switch it off by hand: there: gone" in capsys.readouterr().err
