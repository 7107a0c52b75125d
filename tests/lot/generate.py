"""A lot of many units, without a single reading: summaries of a known truth, drawn from a seed.

    python -m tests.lot.generate FILE.sqlite --units 100000

Then time it: python -m tests.lot.generate FILE.sqlite --measure
"""

from __future__ import annotations

import argparse
import datetime as dt
import hashlib
import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import numpy as np
from sqlalchemy import insert

from harness.store import Store, open_store
from harness.store.schema import EVENTS, FILES, RUN_FILES, RUNS, SUMMARIES

ITEMS = ("gain", "residual", "channel-match", "offset", "noise", "up-down", "scale")
"""Items with numbers; their limits are -1 and 1, their spread is 0.2: Cpk 1.67 but for the first."""
PARAMETERS = tuple(f"ch{channel} {name}" for channel in (1, 2, 3, 4) for name in ("ln K", "attenuator 1:10", "pregain"))
SPREAD = 0.2
FAILING, INVALID, REPAIRED = 0.04, 0.01, 0.5
"""Share of first attempts that fail, of runs that are INVALID, of failing units that pass on retest."""
_BEGIN = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
_BLOCK = 2000


def generate(store: Store, units: int, *, seed: int = 1, shift_at: int | None = None) -> dict[str, int]:
    """Fill a store; what was drawn: units that pass first, in the end, and runs INVALID."""
    text = "kind = 'job'"
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    with store.changing("filling a lot") as connection:
        connection.execute(insert(FILES), {"sha256": sha256, "text": text})
    truth = {"first": 0, "final": 0, "invalid": 0, "runs": 0}
    block: list[tuple[str, str, dict[str, Any]]] = []
    for unit, short in _attempts(units, seed, shift_at, truth):
        block.append((f"run-{truth['runs']:07d}", unit, short))
        truth["runs"] += 1
        if len(block) == _BLOCK:
            _write(store, block, truth["runs"] - len(block), sha256)
            block = []
    if block:
        _write(store, block, truth["runs"] - len(block), sha256)
    return truth


def _attempts(
    units: int, seed: int, shift_at: int | None, truth: dict[str, int]
) -> Iterator[tuple[str, dict[str, Any]]]:
    rng = np.random.default_rng(seed)
    for number in range(units):
        unit = f"U{number:06d}"
        shift = SPREAD if shift_at is not None and number >= shift_at else 0.0
        if rng.random() < INVALID:
            truth["invalid"] += 1
            yield unit, _short(rng, "INVALID", shift)
        good = rng.random() >= FAILING
        truth["first"] += good
        yield unit, _short(rng, "PASS" if good else "FAIL", shift)
        again = not good and rng.random() < REPAIRED
        truth["final"] += good or again
        if again:
            yield unit, _short(rng, "PASS", shift)


def _short(rng: np.random.Generator, verdict: str, shift: float) -> dict[str, Any]:
    numbers = np.clip(rng.normal(size=(len(ITEMS), 2)) * SPREAD, -0.99, 0.99)
    items = [
        [item, "percent", -1.0, 1.0, 924, 0, "PASS", float(min(pair)), 0.1, float(max(pair)), 0.1]
        for item, pair in zip(ITEMS, numbers, strict=True)
    ]
    items += [
        [item, "", None, None, 924, 0, "PASS", None, None, None, None] for item in ("word", "realness", "monotonic")
    ]
    if verdict == "FAIL":
        items[0][5:10] = [3, "FAIL", -0.5, 0.1, 1.5]
    charted = [
        [name, float(x) * SPREAD + shift, -1.0, 1.0, "percent"]
        for name, x in zip(PARAMETERS, rng.normal(size=12), strict=True)
    ]
    facts = {
        "items": items, "diagnoses": ["relay-not-picking"] if verdict == "FAIL" else [],
        "invalid": [["timeout: source", 2]] if verdict == "INVALID" else [], "charted": charted,
    }  # fmt: skip
    return {
        "verdict": verdict, "complete": 1, "seconds": 40.0 + float(rng.exponential(5.0)), "tested": 924,
        "failing": 3 if verdict == "FAIL" else 0, "facts": json.dumps(facts, separators=(",", ":")),
        "at_utc": "2026-11-30T00:00:00Z", "software": "generated", "limits": "0" * 64,
    }  # fmt: skip


def _write(store: Store, block: list[tuple[str, str, dict[str, Any]]], before: int, sha256: str) -> None:
    runs, names, shorts = [], [], []
    for number, (run_id, unit, short) in enumerate(block, start=before + 1):
        at = (_BEGIN + dt.timedelta(seconds=60 * number)).isoformat()
        runs.append({
            "number": number, "run_id": run_id, "unit": unit, "operator": "generated", "started_utc": at,
            "end": "finished", "mode": "simulated", "faults": "[]", "planned": 0, "identities": "[]",
            "software": "generated", "finished_utc": at,
        })  # fmt: skip
        for position, role in enumerate(("job", "device")):
            names.append(
                {
                    "run": number,
                    "position": position,
                    "role": role,
                    "path": f"made/{role}.toml",
                    "version": 1,
                    "sha256": sha256,
                }
            )
        shorts.append({"run": number, **short})
    with store.changing("filling a lot") as connection:
        connection.execute(insert(RUNS), runs)
        connection.execute(insert(RUN_FILES), names)
        connection.execute(insert(SUMMARIES), shorts)


def export(store: Store, folder: Any) -> None:
    """The four tables of a lot as Parquet: of runs without readings `store export` would write a file each."""
    from sqlalchemy import select

    from harness.store.parquet import _write as write

    folder.mkdir(parents=True, exist_ok=True)
    with store.viewing("exporting") as connection:
        ids = dict(tuple(row) for row in connection.execute(select(RUNS.c.number, RUNS.c.run_id)))
        for table in (RUNS, RUN_FILES, SUMMARIES, EVENTS):
            rows = connection.execute(select(table).execution_options(yield_per=_BLOCK)).partitions()
            write(folder / f"{table.name}.parquet", table, ([row._asdict() for row in page] for page in rows), ids)


def measure(words: list[str]) -> dict[str, float]:
    """Wall clock, time of the processor and peak memory of `gainladder lot` in a process of its own."""
    begin = time.perf_counter()
    subprocess.run([sys.executable, "-m", "harness.app.main", "lot", *words], check=True)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return {
        "seconds": round(time.perf_counter() - begin, 2),
        "of_the_processor_s": round(used.ru_utime + used.ru_stime, 2),
        "peak_mb": round(used.ru_maxrss / 1024.0, 1),
    }


if __name__ == "__main__":
    from pathlib import Path

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("--units", type=int, default=100_000)
    parser.add_argument("--measure", action="store_true")
    parser.add_argument("--parquet", action="store_true", help="with the folder beside the file")
    parser.add_argument("--limits", default="")
    asked = parser.parse_args()
    beside = asked.file.with_suffix(".parquet")
    if asked.measure:
        where = ["--parquet", str(beside)] if asked.parquet else ["--store", str(asked.file)]
        print(measure([*where, *(["--limits", asked.limits] if asked.limits else []), "--takt", "60"]))
    else:
        with open_store(str(asked.file)) as made:
            print(generate(made, asked.units))
            if asked.parquet:
                export(made, beside)
