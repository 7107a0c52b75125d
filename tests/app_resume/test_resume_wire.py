"""A sweep on real links is killed, its bench comes back under other addresses, and the run is resumed there."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import pytest

from harness.app.resume import ResumeRequest, resume_run
from harness.store import open_store
from harness.values import Purpose
from tests.app.test_wire import PROGRAM, ROOT, announced, in_store, job, output, served

pytestmark = pytest.mark.wire

TWELVE = '[ladder]\nchannels = [1]\ncoarse = ["5V", "20mV"]\nfine = [0, 10, 20]\n'


def test_killed_then_resumed_under_other_addresses_and_never_on_another_instrument(
    gainladder: Any, tmp_path: Path
) -> None:
    store = tmp_path / "runs.sqlite"
    path = job(tmp_path, TWELVE)
    with served(tmp_path) as (old, bench):
        command = [*PROGRAM, "sweep", str(path), "--unit", "A1", "--bench", str(bench)]
        command += ["--store", str(store), "--reports", str(tmp_path / "pages")]
        with subprocess.Popen(
            command, cwd=ROOT, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
        ) as sweep:
            said = announced(sweep)
            sweep.kill()
    kept = in_store(tmp_path)
    assert kept >= said
    with served(tmp_path) as (new, bench):
        assert new["source"] != old["source"]
        right = bench.read_text()
        # Somebody else's source at the address that the file names: it answers with another serial number.
        bench.write_text(right.replace('serial = "MA000001"', 'serial = "MA000009"'))
        refused = gainladder("resume", "last", "--job", str(path), "--bench", str(bench))
        assert refused.code == 2
        assert "source differs" in refused.err
        bench.write_text(right)
        with open_store(str(store)) as opened:
            request = ResumeRequest(job_path=str(path), bench_path=str(bench))
            assert resume_run(opened, opened.resolve("last"), request) is None
        assert output(new["source"]) == "0"
    with open_store(str(store), read_only=True) as opened:
        readings = list(opened.readings(opened.resolve("last")))
    final = [(r.setting, r.direction) for r in readings if r.final and r.purpose is Purpose.LADDER]
    assert len(final) == len(set(final)) == 12
    assert [r.index for r in readings] == list(range(len(readings)))
