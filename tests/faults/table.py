"""What is detected and named of every fault, by size: `python -m tests.faults.table` writes the committed table.

Each row is one fault of one device at one size, over some seeds: outcomes, how often it was found, how often it was
named first, among the best three, or beside them as not told apart; of a fault with a size also the smallest one that
was found. Above its threshold a fault must be found, below it none may fail; a fault of the station must not be blamed
on the unit alone, nor the other way round. Of a fault of the station, found means that the run is no plain PASS:
whether the unit was failed stands under outcomes. Units come from seeds 1, 2 ...: the dictionary was made with seed 1
at hand, so other seeds are the fairer ones (--first-seed; with it nothing is written).
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import io
import json
import sys
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, replace
from pathlib import Path

from harness.judge.decision import share_interval
from harness.simulated import catalogue
from tests.faults.detection import COLUMNS, DEVICES, LABELS, Row, note_of, rows
from tests.faults.smallest import has_scale, smallest
from tests.faults.trial import Trial, safe_trial

FILE = Path(__file__).parent / "detection-table.csv"
ROOT = Path(__file__).parents[2]
COMMAND = "python -m tests.faults.table"
REFERENCE = "skerry-hr-4"
"""The device that is nearest to the reference set-up of the sizes."""
SEEDS = dict.fromkeys(DEVICES, 2) | {REFERENCE: 3}
"""Units a row; faults of links and host do not ask which unit it is: one."""
GOOD_SEED = 1000
"""Good units come from other seeds than those with a fault."""
GOOD_PART = 20
"""Good units in one go."""
BY_ID = {entry.id: entry for entry in catalogue()}
Job = tuple[str, str, tuple[int, ...], tuple[str, ...]]
"""Device, id of a fault (or the number of the first of some good units), seeds, sizes."""


def _work(job: Job) -> list[Row]:
    """One fault of one device."""
    device, identity, seeds, labels = job
    entry = BY_ID[identity]
    found = list(rows(device, seeds=seeds, ids=(identity,), labels=labels))
    able = found[-1].label == "above" and not found[-1].note
    # Thresholds are those of the reference set-up; elsewhere only what is not found there needs another size.
    able = able and (device == REFERENCE or found[-1].found < len(found[-1].trials))
    if able and has_scale(entry) and labels == LABELS:
        found[-1] = replace(found[-1], smallest=smallest(entry, device, seed=seeds[0]))
    return found


def good_units(device: str, seeds: Iterable[int]) -> int:
    """How many good units fail."""
    return sum(safe_trial(device, (), seed=seed).outcome == "FAIL" for seed in seeds)


def alarm(device: str, failed: int, units: int) -> str:
    """False alarms on good units in words, with the upper bound of their share at 95 %."""
    bound = 100.0 * share_interval(failed, trials=units, two_sided=False)[1]
    return f"good units of the {device}: {failed} of {units} FAIL; at 95 % below {bound:.2g} %"


def written(lines: Sequence[Row], *, command: str, alarms: Sequence[str]) -> str:
    """The table as text."""
    out = io.StringIO()
    out.write(f"# Written by `{command}`; do not edit.\n")
    for one in alarms:
        out.write(f"# {one}\n")
    out.write("# blamed: runs in which only the other side was named (the unit for the station, or the reverse).\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(row.cells() for row in lines)
    return out.getvalue()


class Kept:
    """Rows that were made before, in a file: made by the same sources, or they do not count."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._rows: dict[str, list[dict[str, object]]] = {}
        sources = sorted(path for room in ("harness", "configs") for path in (ROOT / room).rglob("*.[pt]*"))
        plain = b"".join(path.read_bytes() for path in sources if path.suffix in (".py", ".toml"))
        self._made_by = hashlib.sha256(plain).hexdigest()
        for line in path.read_text("utf-8").splitlines() if path is not None and path.exists() else ():
            one = json.loads(line)
            if one["made_by"] == self._made_by:
                self._rows[one["job"]] = one["rows"]

    def get(self, job: Job) -> list[Row] | None:
        """The rows of a job; None where it has not been done."""
        made = self._rows.get(repr(job))
        return None if made is None else [_row(one) for one in made]

    def put(self, job: Job, found: Sequence[Row]) -> None:
        """Keep the rows of a job."""
        if self._path is not None:
            told = [asdict(row) | {"entry": row.entry.id} for row in found]
            with self._path.open("a", encoding="utf-8") as file:
                file.write(json.dumps({"made_by": self._made_by, "job": repr(job), "rows": told}) + "\n")


def _row(told: dict[str, object]) -> Row:
    trials = [
        Trial(**(one | {key: tuple(one[key]) for key in ("named", "together", "blind")}))
        for one in told["trials"]  # type: ignore[attr-defined]
    ]
    entry = BY_ID[str(told["entry"])]
    note = note_of(entry, str(told["device"]), trials[0]) if trials else str(told["note"])
    return Row(**(told | {"entry": entry, "trials": tuple(trials), "note": note}))  # type: ignore[arg-type]


def summary(lines: Sequence[Row]) -> str:
    """How many runs of faults above their threshold were found, and named."""
    said = []
    for kind, name in (("product", "of the unit"), ("station", "of the station")):
        mine = [r for r in lines if r.label == "above" and r.entry.kind == kind and not r.note]
        runs = sum(len(row.trials) for row in mine)
        counts = [sum(count) for count in zip(*((r.found, r.three, r.together) for r in mine), strict=True)]
        if runs:
            said.append(
                f"{name}, above, {runs} runs: {counts[0]} found, {counts[1]} named in the best three, "
                f"{counts[2]} with what is not told apart"
            )
    return "\n".join(said)


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog=COMMAND, description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seeds", type=int, default=0, help="units a row; by default 3 of the HR-4, 2 of the others")
    parser.add_argument("--first-seed", type=int, default=1, help="other than 1: printed, nothing is written")
    parser.add_argument("--good", type=int, default=100, help="good units a device")
    parser.add_argument("--devices", nargs="+", choices=DEVICES, default=DEVICES)
    parser.add_argument("--ids", nargs="+", default=[], help="only these faults: printed, nothing is written")
    parser.add_argument("--labels", nargs="+", choices=LABELS, default=LABELS, help="only these sizes; as --ids")
    parser.add_argument("--workers", type=int, default=2, help="processes; the table does not depend on them")
    parser.add_argument("--kept", type=Path, help="file that keeps finished rows, to go on from after a stop")
    return parser.parse_args()


def main() -> None:
    """Write the table, or print a part of it."""
    asked, began_s = _asked(), time.monotonic()
    kept = Kept(asked.kept)
    seeds = {device: asked.seeds or SEEDS[device] for device in asked.devices}
    jobs: list[Job] = [
        (device, identity, tuple(range(asked.first_seed, asked.first_seed + units)), tuple(asked.labels))
        for device in asked.devices
        for identity in asked.ids or BY_ID
        for units in (1 if BY_ID[identity].kind == "io" else seeds[device],)
    ]
    whole = not asked.ids and asked.first_seed == 1 and tuple(asked.labels) == LABELS
    lines: list[Row] = []
    alarms: list[str] = []
    with ProcessPoolExecutor(asked.workers) as pool:
        started = {job: None if kept.get(job) is not None else pool.submit(_work, job) for job in jobs}
        parts = range(GOOD_SEED, GOOD_SEED + asked.good, GOOD_PART)
        goods = {
            device: [
                pool.submit(good_units, device, range(first, min(first + GOOD_PART, parts.stop))) for first in parts
            ]
            for device in (asked.devices if whole else ())
        }
        for place, (job, future) in enumerate(started.items(), start=1):
            found = future.result() if future is not None else kept.get(job) or []
            if future is not None:
                kept.put(job, found)
            lines.extend(found)
            for row in found:
                print(f"{place}/{len(jobs)}", *row.cells(), sep=" | ", file=sys.stderr, flush=True)
        for device, futures in goods.items():
            alarms.append(alarm(device, sum(future.result() for future in futures), asked.good))
            print(alarms[-1], file=sys.stderr, flush=True)
    print(summary(lines), file=sys.stderr)
    if whole:
        counted = f" --seeds {asked.seeds}" if asked.seeds else ""
        command = f"{COMMAND}{counted} --good {asked.good} --devices {' '.join(asked.devices)}"
        FILE.write_text(written(lines, command=command, alarms=alarms), "utf-8")
    print(f"{time.monotonic() - began_s:.0f} s in {asked.workers} processes", file=sys.stderr)


if __name__ == "__main__":
    main()
