"""A simulated bench in a process of its own for tests, a look at its source past the program, and at the store."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from harness.config import InstrumentSlot
from harness.drivers import open_link

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = [sys.executable, "-m", "harness.app.main"]


def job(tmp_path: Path, ladder: str, device: str = "skerry-hr-4") -> Path:
    head = (ROOT / "configs/jobs/demo.toml").read_text().split("[ladder]")[0]
    path = tmp_path / "job.toml"
    path.write_text(head.replace('"../', f'"{ROOT}/configs/') + ladder)
    return path


@contextlib.contextmanager
def served(tmp_path: Path) -> Iterator[tuple[dict[str, str], Path]]:
    """`gainladder simulate` in a process of its own, and a bench file that reaches it."""
    bench = tmp_path / "live.toml"
    command = [*PROGRAM, "simulate", "configs/benches/simulated.toml", "--json", "--seed", "1"]
    command += ["--bench-out", str(bench)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            yield json.loads(server.stdout.readline())["addresses"], bench
        finally:
            # Not SIGINT: a background job of a shell starts with it ignored, and so do its children.
            server.terminate()
            server.wait(10)


def output(address: str) -> str:
    """Ask the source by a connection of our own."""
    link = open_link(InstrumentSlot(profile="x", address=address, timeout_s=2.0), role="source")
    try:
        link.write(b"OUTP?\n")
        return link.read_line().decode().strip()
    finally:
        link.close()


def in_store(tmp_path: Path) -> int:
    with contextlib.closing(sqlite3.connect(tmp_path / "runs.sqlite")) as bare:
        return int(bare.execute("select count(*) from readings").fetchone()[0])
