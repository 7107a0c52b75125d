"""All benchmarks: `python -m tests.benchmarks [--json] [NAME ...]`.

Each figure with a goal is a ratio, measured in one run against a named yardstick, so that it means the same on another
machine; the rest are the times and sizes behind it. A figure that misses its goal is marked, and the exit code is 1.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import platform
import sys
from collections.abc import Sequence
from pathlib import Path

GOALS: dict[str, tuple[str, float]] = {
    "prediction_over_one_pass": ("<=", 20.0),
    "fit_over_least_squares": ("<=", 5.0),
    "curve_fit_over_batch": (">=", 100.0),
    "batch_over_matrix_product": ("<=", 3.0),
    "decode_packed": ("<=", 1.5),
    "overhead_wire": ("<=", 1.25),
    "overhead_realistic": ("<=", 1.05),
    "waits_over_floor": ("<=", 1.01),
    "computed_over_floor": ("<=", 1.05),
    "versus_script": ("<=", 0.5),
    "startup": ("<=", 2.0),
    "commit_ratio": (">=", 0.75),
    "readings_per_s": (">=", 300.0),
    "ci_sweep_s": ("<=", 0.4),
    "store_memory_mb": ("<=", 300.0),
    "sweep_memory_mb": ("<=", 400.0),
    "decode_memory_growth": ("<=", 1.2),
    "judge_over_fits": ("<=", 20.0),
    "report_over_drawing": ("<=", 2.5),
    "judge_run_s": ("<=", 0.5),
    "page_s": ("<=", 5.0),
    "page_mb": ("<=", 3.0),
    "page_open_s": ("<=", 1.5),
    "suite_ms_per_claim": ("<=", 0.5),
    "demo_settings_percent": ("<=", 8.0),
    "tarn_settings_percent": ("<=", 13.0),
    "corrie_settings_percent": ("<=", 13.0),
    "demo_coverage": (">=", 1.0),
    "tarn_coverage": (">=", 1.0),
    "corrie_coverage": (">=", 1.0),
}
"""Figure -> at most or at least, and how much."""


def names() -> list[str]:
    """Modules of this folder that measure something."""
    own = (path.stem for path in Path(__file__).parent.glob("[a-z]*.py"))
    return sorted(name for name in own if not name.startswith("test_"))


def machine() -> dict[str, str]:
    """What the figures were measured on."""
    return {
        "python": platform.python_version(), "system": platform.system(), "machine": platform.machine(),
        "cores": str(os.cpu_count()), "processor": _processor(), "load": f"{os.getloadavg()[0]:.1f}",
    }  # fmt: skip


def _processor() -> str:
    """Its name where the system tells it."""
    known = Path("/proc/cpuinfo")
    lines = known.read_text().splitlines() if known.exists() else []
    return next((line.partition(":")[2].strip() for line in lines if line.startswith("model name")), "unknown")


def met(name: str, value: float) -> bool | None:
    """Whether a figure meets its goal; None without one."""
    if name not in GOALS:
        return None
    sign, goal = GOALS[name]
    return value <= goal if sign == "<=" else value >= goal


def main(arguments: Sequence[str]) -> int:
    """Measure, print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(names())}; default all")
    parser.add_argument("--json", action="store_true")
    wanted = parser.parse_args(arguments)
    unknown = sorted(set(wanted.names) - set(names()))
    if unknown:
        parser.error(f"got {', '.join(unknown)}; allowed: {', '.join(names())}")
    # Before numpy is loaded: on a busy machine its threads wait for each other twenty times longer than they work.
    for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(threads, "1")
    found: dict[str, dict[str, float]] = {}
    before = machine()
    if not wanted.json:
        print(", ".join(f"{key} {value}" for key, value in before.items()), flush=True)
    for name in wanted.names or names():
        found[name] = importlib.import_module(f"tests.benchmarks.{name}").measure()
        if not wanted.json:
            show(name, found[name])
    if wanted.json:
        print(json.dumps({"machine": before, "figures": found}, indent=1))
    missed = [figure for figures in found.values() for figure, value in figures.items() if met(figure, value) is False]
    return 1 if missed else 0


def show(name: str, figures: dict[str, float]) -> None:
    """The figures of one module as rows of a table."""
    for figure, value in figures.items():
        sign, goal = GOALS.get(figure, ("", 0.0))
        judged = {True: "met", False: "MISSED", None: ""}[met(figure, value)]
        print(f"{name:9} {figure:28} {value:12.3f}  {f'{sign} {goal:g}' if sign else '':10} {judged}", flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
