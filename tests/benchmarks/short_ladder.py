"""What a short ladder costs and shows, against the whole ladder of the same device.

Run: python -m tests.benchmarks short_ladder

NAME_settings_percent: settings of the shipped ladder over all of the device.
NAME_seconds_ratio: least time of its sweep, settling and records, over that of the whole ladder.
NAME_coverage: faults of the dictionary, each at each place, that as many settings show as were asked for, over all that
the whole ladder shows.
choose_s: processor time to choose the demo's.
"""

from __future__ import annotations

import time
from pathlib import Path

from harness.app.setup import read_setup
from harness.ladder import preview_summary
from harness.ladder.short import shorten

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
DEVICES = {"demo": "skerry-hr-4", "tarn": "tarn-vg-1", "corrie": "corrie-ur-2"}
WHOLE = {"demo": "demo", "tarn": "tarn-vg-1", "corrie": "corrie-ur-2"}


def _coverage(file):
    """Share of the faults in a ladder file that enough settings show."""
    rows = file.coverage.fault
    enough = [row.least >= min(row.full, file.coverage.detect) for row in rows]
    return sum(enough) / len(rows)


def measure():
    """All figures."""
    found = {}
    for name, device in DEVICES.items():
        short = read_setup(str(CONFIGS / "jobs" / f"{device}-short.toml"))
        whole = read_setup(str(CONFIGS / "jobs" / f"{WHOLE[name]}.toml"))
        short_s, whole_s = (preview_summary(it.rungs, it.law, it.device).duration_s for it in (short, whole))
        found |= {
            f"{name}_settings": float(len(short.planned())),
            f"{name}_settings_percent": 100.0 * len(short.planned()) / len(whole.planned()),
            f"{name}_seconds": short_s,
            f"{name}_seconds_ratio": short_s / whole_s,
            f"{name}_coverage": _coverage(short.short),
        }
    law = read_setup(str(CONFIGS / "jobs" / "demo.toml"), ladder=False).law
    start = time.process_time()
    shorten(law, detect=3, least_percent=2.44)
    found["choose_s"] = time.process_time() - start
    return found
