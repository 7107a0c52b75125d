"""Time of a unit at the end of the line: `python -m tests.line.takt [--units 5]`, a few minutes.

The short ladder of the demo on the simulated bench in a process of its own, over sockets, HiSLIP and a pseudo-terminal,
with the latencies of instruments on a network; the page, its process for each try, the record on the disk, the report.

`prepare`: from the scan to the picture (files read, routing, locks; the operator fetches the unit meanwhile). `check`:
from "connected" to the first reading (bench opened, who answers). `run`: readings. `verdict`: judged, reported, shown.
"""

from __future__ import annotations

import argparse
import re
import statistics
import sys
import tempfile
import time
from pathlib import Path

from harness.app.golden.looks import looks
from harness.drivers import RealClock
from harness.store import add_note, open_store
from harness.values import GOLDEN_CHECK, golden_text
from tests.line.conftest import write_place
from tests.line.operator import WAIT_S, Server, serials
from tests.production_job import CONFIGS, PRODUCTION

LATENCIES_S = {"fast": 0.0005, "usual": 0.003, "slow": 0.01}
COLUMNS = ("prepare", "check", "run", "verdict")


def place_of(folder: Path, latency_s: float) -> str:
    """A line file whose bench answers after that time."""
    path = write_place(folder)
    bench = (CONFIGS / "benches/simulated.toml").read_text(encoding="utf-8").replace('"../', f'"{CONFIGS}/')
    bench, count = re.subn(r"^latency_s = \S+", f"latency_s = {latency_s}", bench, flags=re.MULTILINE)
    assert count == 3
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    job = (CONFIGS / "jobs/skerry-hr-4-short.toml").read_text(encoding="utf-8").replace('"../', f'"{CONFIGS}/')
    job = job.replace(f"{CONFIGS}/benches/simulated.toml", "bench.toml").replace('"in-process"', '"wire"')
    (folder / "job.toml").write_text(job + PRODUCTION, encoding="utf-8")
    return path


def stages_s(server: Server, unit: str) -> dict[str, float]:
    """How long a unit stays on each screen; the picture is left at once."""
    screens: list[tuple[str, float]] = []
    server.scan(unit)
    since_s = time.monotonic()
    while not screens or screens[-1][0] not in ("verdict", "trouble", "locked"):
        assert time.monotonic() - since_s < WAIT_S
        view = server.state()
        screen = str(view["screen"])
        if screen == "run" and view["bar"]["done"] >= view["bar"]["planned"]:
            screen = "judging"
        if not screens or screens[-1][0] != screen:
            screens.append((screen, time.monotonic()))
        if screen == "connect":
            server.press("connected")
        time.sleep(0.02)
    assert view["title"] in ("PASS", "REFERENCE GROWS", "STATION SOUND"), view
    ends = [*(at for _, at in screens[1:]), screens[-1][1]]
    took = {screen: end - at for (screen, at), end in zip(screens, ends, strict=True)}
    return {
        "prepare": took["prepare"], "check": took["check"], "run": took.get("run", 0.0),
        "verdict": took.get("judging", 0.0),
    }  # fmt: skip


def measured(folder: Path, latency_s: float, count: int) -> dict[str, float]:
    """The middle of each stage over some units, and of their sum without the preparation."""
    server = Server(place_of(folder, latency_s), "--seed", "1")
    with server.served():
        server.scan("OP101")
        stages_s(server, "G1")
        with open_store(str(folder / "line.sqlite")) as store:
            (first,) = looks(store)
            for _ in range(2):
                add_note(store, first.run_id, GOLDEN_CHECK, golden_text(first), RealClock())
        stages_s(server, "G1")
        units = [stages_s(server, unit) for unit in serials(count)]
    middle = {stage: statistics.median(unit[stage] for unit in units) for stage in COLUMNS}
    middle["connected to verdict"] = statistics.median(sum(unit.values()) - unit["prepare"] for unit in units)
    return middle


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--units", type=int, default=5)
    asked = parser.parse_args()
    print(f"{'latency':>16}" + "".join(f"{stage:>12}" for stage in COLUMNS) + f"{'connected to verdict':>24}")
    for name, latency_s in LATENCIES_S.items():
        with tempfile.TemporaryDirectory() as folder:
            row = measured(Path(folder), latency_s, asked.units)
        cells = "".join(f"{row[stage]:>10.1f} s" for stage in COLUMNS)
        print(f"{name:>8}{latency_s * 1e3:>5.1f} ms{cells}{row['connected to verdict']:>22.1f} s", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
