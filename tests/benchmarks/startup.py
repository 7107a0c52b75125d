"""How long the command line takes to explain itself: against an interpreter that only imports the command library.

Run: python -m tests.benchmarks.startup
"""

from __future__ import annotations

import subprocess
import sys
import time

REPEATS = 9


def _least_s(*words: str) -> float:
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - start)
    return min(times)


def measure() -> dict[str, float]:
    """`gainladder --help` over `import click`, and both in milliseconds."""
    ours_s = _least_s("-m", "harness.app.main", "--help")
    click_s = _least_s("-c", "import click")
    return {"startup": ours_s / click_s, "help_ms": 1e3 * ours_s, "import_click_ms": 1e3 * click_s}


if __name__ == "__main__":
    for name, value in measure().items():
        print(f"{name:28s} {value:10.3f}")
