"""Does a short ladder find what the whole ladder finds? `python -m tests.faults.short --device skerry-hr-4`.

Every fault that a ladder can show, above its threshold, at sizes and places that nobody chose the ladder with, and in
pairs drawn from a seed; then good units. What the short ladder misses is swept on the whole ladder, which tells a fault
that no ladder shows from one that was lost; `--full` sweeps everything on both. The demo takes ten seconds a sweep.
`--keep` writes the lines of the device anew into tests/faults/short-table.csv.
"""

from __future__ import annotations

import argparse
import csv
import random
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from harness.diagnosis import KNOWN
from harness.simulated import catalogue
from harness.simulated.fault_entry import FaultEntry
from tests.faults.detection import BESIDE, DEVICES, KILLERS, placed, seen, text_of
from tests.faults.smallest import has_scale, size_at
from tests.faults.trial import Trial, safe_trial, setup_of

COMMAND = "python -m tests.faults.short"
TABLE = Path(__file__).with_name("short-table.csv")
COLUMNS = ("device", "ladder_version", "size", "ids", "injected", "short", "whole")
UNSEEN_HALF_OCTAVES = 3
"""2.8 times the threshold: neither that nor the 2 times of `above`."""
PLACES = {
    "F01": ("=1", "=3", "=6"), "F02": ("=1", "=3", "=7"), "F03": ("=2,5", "=0,7"), "F04": ("=3,4", "=1,6"),
    "F12": ("=3",),
}  # fmt: skip
"""Bits that `above` does not name."""
POOLED = ("F53",)
"""Only more records of a channel together than a short ladder takes may show them; its run says that it is blind."""
BELOW = {"corrie-ur-2": ("=1",)}
"""Places that move the gain by less than any limit there: the second bit of the code by 0.1 dB, 1.2 %."""
LATE = {"F19": "@46"}
"""A single event is asked for inside a range of channel 2: at a change of range every word is written anew."""
Look = Callable[[str, Sequence[str], int], Trial]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Something to inject."""

    label: str
    entries: tuple[FaultEntry, ...]
    injected: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """How it came out."""

    case: Case
    short: Trial
    full: Trial | None
    """None: not swept, for the short ladder has found it."""

    @property
    def found(self) -> bool:
        """By the short ladder."""
        return _seen(self.case, self.short)

    @property
    def shown(self) -> bool:
        """Found by either."""
        return self.found or (self.full is not None and _seen(self.case, self.full))

    @property
    def told(self) -> bool:
        """Not found, and the run itself says that it could not be."""
        blind = {said.partition(":")[0] for said in self.short.blind}
        return not self.found and {entry.id for entry in self.case.entries} <= blind & set(POOLED)

    @property
    def lost(self) -> bool:
        """Found by the whole ladder alone, and the short one says nothing."""
        return self.shown and not self.found and not self.told


def _seen(case: Case, trial: Trial) -> bool:
    return any(seen(entry, trial) for entry in case.entries)


def singles(device: str, ids: Sequence[str] = ()) -> Iterator[Case]:
    """Every fault that a ladder of the device can show, by itself."""
    ladder = f"{device} short"
    for entry in catalogue():
        if entry.kind == "io" or entry.id in KILLERS or entry.needs or (ids and entry.id not in ids):
            continue
        if KNOWN[entry.name].sight in BESIDE:
            continue
        where, above = placed(entry, ladder), text_of(entry, "above", ladder)
        if above is None:
            continue
        late = LATE.get(entry.id) if ":" in where else None
        yield Case(label="above", entries=(entry,), injected=(f"{where}{late}" if late else above,))
        if has_scale(entry):
            text = f"{where}={size_at(entry, UNSEEN_HALF_OCTAVES)}"
            yield Case(label="unseen", entries=(entry,), injected=(text,))
        for place in PLACES.get(entry.id, ()):
            if place in BELOW.get(device, ()):
                continue
            yield Case(label="unseen", entries=(entry,), injected=(f"{where}{place}",))


def pairs(cases: Sequence[Case], count: int, *, seed: int) -> Iterator[Case]:
    """Two faults at a time."""
    draw = random.Random(seed)
    for _ in range(count if len(cases) > 1 else 0):
        first, second = draw.sample(list(cases), 2)
        yield Case(
            label="pair", entries=(*first.entries, *second.entries), injected=(*first.injected, *second.injected)
        )


def looked(ladder: str, injected: Sequence[str], seed: int) -> Trial:
    """One unit, swept and judged."""
    return safe_trial(ladder, injected, seed=seed)


def line_of(device: str, case: Case, *, seed: int, full: bool, look: Look = looked) -> Line:
    """One case on the short ladder, and on the whole one where that is asked for or the short one has not found it."""
    short = look(f"{device} short", case.injected, seed)
    whole = None
    if full or not (_seen(case, short) or short.outcome == "UNABLE"):
        whole = look(f"{device} full", case.injected, seed)
    return Line(case=case, short=short, full=whole)


def told(line: Line) -> str:
    """A row of the table."""
    full = "" if line.full is None else line.full.outcome
    ids = " ".join(entry.id for entry in line.case.entries)
    return f"{line.case.label:<7} {ids:<8} {' + '.join(line.case.injected):<64} {line.short.outcome:<13} {full:<13}" + (
        " LOST" if line.lost else " told" if line.shown and line.told else ""
    )


def summary(lines: Sequence[Line]) -> str:
    """How much of what the whole ladder shows the short one shows."""
    said = []
    for label in ("above", "unseen", "pair"):
        mine = [one for one in lines if one.case.label == label and one.shown]
        found, lost = sum(one.found for one in mine), sum(one.lost for one in mine)
        told = len(mine) - found - lost
        said.append(f"{label}: {found} of {len(mine)} found; {told} said to be out of sight; lost {lost}")
    return "\n".join(said)


def kept(device: str, lines: Sequence[Line], *, failed: int, good: int, path: Path = TABLE) -> None:
    """Write the lines of a device into the table, in place of those that it held; other devices stay.

    Cases that no ladder shows are left out: they say nothing about the short one.
    """
    others: list[dict[str, str]] = []
    if path.exists():
        with path.open(newline="", encoding="utf-8") as file:
            others = [row for row in csv.DictReader(file) if row["device"] != device]
    short = setup_of(f"{device} short").short
    version = str(short.version) if short is not None else ""
    rows = [
        {
            "device": device, "ladder_version": version, "size": one.case.label,
            "ids": " ".join(entry.id for entry in one.case.entries), "injected": " + ".join(one.case.injected),
            "short": one.short.outcome, "whole": "" if one.full is None else one.full.outcome,
        }
        for one in lines
        if one.shown
    ]  # fmt: skip
    if good:
        rows.append(dict.fromkeys(COLUMNS, "") | {
            "device": device, "ladder_version": version, "size": "good", "short": f"{failed} of {good} FAIL",
        })  # fmt: skip
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        table.writeheader()
        table.writerows(sorted([*others, *rows], key=lambda row: row["device"]))


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(prog=COMMAND, description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--device", choices=DEVICES, default=DEVICES[0])
    parser.add_argument("--ids", nargs="+", default=[], help="only these faults")
    parser.add_argument("--pairs", type=int, default=20)
    parser.add_argument("--good", type=int, default=100, help="good units")
    parser.add_argument("--seed", type=int, default=21)
    parser.add_argument("--full", action="store_true", help="both ladders for each case")
    parser.add_argument("--keep", action="store_true", help=f"write {TABLE.name}")
    asked = parser.parse_args()
    cases = [*singles(asked.device, asked.ids)]
    cases += pairs([case for case in cases if case.label == "above"], asked.pairs, seed=asked.seed)
    lines = []
    print(f"{'size':<7} {'ids':<8} {'injected':<64} {'short':<13} {'whole':<13}")
    for case in cases:
        lines.append(line_of(asked.device, case, seed=asked.seed, full=asked.full))
        print(told(lines[-1]), flush=True)
    print(summary(lines))
    failed = sum(safe_trial(f"{asked.device} short", (), seed=1000 + n).outcome == "FAIL" for n in range(asked.good))
    print(f"good units: {failed} of {asked.good} FAIL")
    if asked.keep:
        kept(asked.device, lines, failed=failed, good=asked.good)
    return 1 if failed or any(one.lost for one in lines) else 0


if __name__ == "__main__":
    sys.exit(main())
