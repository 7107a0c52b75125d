"""The last resort of a link: an instrument's power is switched off and on by a program that the bench file names."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence

from harness.errors import BenchError

LONGEST_S = 60.0
"""A program that has not ended by then has not switched anything."""


def cycle_power(command: Sequence[str], *, address: str) -> None:
    """Run the program of a bench file's `power_cycle`, without a shell.

    Raises:
        BenchError: it cannot be started, does not end, or says that it failed.
    """
    try:
        done = subprocess.run(command, capture_output=True, stdin=subprocess.DEVNULL, timeout=LONGEST_S, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise BenchError(f"power_cycle {command[0]!r} did not run: {error}", address=address) from error
    if done.returncode:
        words = done.stderr.decode("utf-8", "replace").strip()[:200] or "it said nothing"
        raise BenchError(f"power_cycle {command[0]!r} ended with code {done.returncode}: {words}", address=address)
