"""A simulated bench in a process of its own, reached over loopback, for as long as it is needed."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from collections.abc import Iterator

from harness.errors import OpenFailed


@contextlib.contextmanager
def served_bench(path: str, *, seed: int, faults: tuple[str, ...], unit: str = "") -> Iterator[dict[str, str]]:
    """Start `gainladder simulate`, yield its addresses by role, stop it.

    The child serves until its standard input closes, so it also ends when this process is killed.
    """
    command = [sys.executable, "-m", "harness.app.main", "simulate", path, "--json", "--until-stdin-closes"]
    command += ["--seed", str(seed), *(["--unit", unit] if unit else [])]
    for fault in faults:
        command += ["--fault", fault]
    # A session of its own: Ctrl-C at the terminal must reach the sweep first, while the bench still answers.
    child = subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        text=True,
    )
    with child:
        try:
            line = child.stdout.readline() if child.stdout else ""
            if not line:
                _, said = child.communicate()
                text = said.strip() or "it said nothing"
                raise OpenFailed(f"the simulated bench did not start: {text}", address=path)
            yield dict(json.loads(line)["addresses"])
        finally:
            with contextlib.suppress(OSError):
                if child.stdin:
                    child.stdin.close()
            try:
                child.wait(timeout=5.0)
            except subprocess.TimeoutExpired:
                child.kill()
