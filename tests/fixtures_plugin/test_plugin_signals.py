"""A signal to a session that is sweeping: a real process, real links, and a look at the source from outside."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from harness.store import open_store
from tests.app.served_bench import ROOT, in_store, job, output, served

pytestmark = pytest.mark.wire


def begun(tmp_path: Path, session: subprocess.Popen[str]) -> int:
    """Wait until readings are in the store; how many."""
    store = tmp_path / "runs.sqlite"
    ends_s = time.monotonic() + 60.0
    while time.monotonic() < ends_s:
        assert session.poll() is None, session.communicate()
        try:
            count = in_store(tmp_path) if store.exists() else 0
        except sqlite3.OperationalError:  # the tables are being made
            count = 0
        if count >= 3:
            return count
        time.sleep(0.02)
    raise AssertionError("no reading within a minute")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_the_session_with_the_source_off_and_the_record_whole(tmp_path: Path, number: int) -> None:
    with served(tmp_path) as (addresses, bench):
        whole = job(tmp_path, "[ladder]\nchannels = [1]\n")
        command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/bench", "--job", str(whole)]
        command += ["--unit", "A1", "--bench", str(bench), "--store", str(tmp_path / "runs.sqlite")]
        environment = {name: text for name, text in os.environ.items() if not name.startswith("PYTEST_")}
        with subprocess.Popen(
            command, cwd=ROOT, env={**environment, "PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        ) as session:  # fmt: skip
            said = begun(tmp_path, session)
            session.send_signal(number)
            told, _ = session.communicate(timeout=30)
            assert session.returncode == pytest.ExitCode.INTERRUPTED, told
        assert output(addresses["source"]) == "0"
    assert "KeyboardInterrupt" in told
    with open_store(str(tmp_path / "runs.sqlite"), read_only=True) as store:
        (info,) = store.runs()
    assert info.end == "interrupted"
    assert said <= info.readings < info.header.planned
