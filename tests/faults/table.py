"""What is detected and named of every fault, by size: `python -m tests.faults.table` writes the committed table.

Each row is one fault of one device at one size, over some seeds: outcomes, how often it was found, how often it was
named first, among the best three, or beside them as not told apart. Above its threshold a fault must be found, below it
none may fail; a fault of the station must not be blamed on the unit alone, nor the other way round. Of a fault of the
station, found means that the run is no plain PASS: whether the unit was failed stands under outcomes. Units come from
seeds 1, 2 ...: the dictionary was made with seed 1 at hand, so other seeds are the fairer ones.
"""

from __future__ import annotations

import argparse
import csv
import io
import math
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from harness.diagnosis import KNOWN, Sight
from harness.judge.decision import share_interval
from harness.simulated import SIZES, catalogue
from harness.simulated.fault_entry import FaultEntry
from tests.faults.trial import LADDERS, Trial, safe_trial, setup_of

FILE = Path(__file__).parent / "detection-table.csv"
COMMAND = "python -m tests.faults.table"
LABELS = ("below", "at", "above")
COLUMNS = (
    "device", "id", "fault", "kind", "size", "injected", "seeds", "outcomes", "found", "first", "three", "together",
    "blamed", "note",
)  # fmt: skip
DEVICES = tuple(name for name in LADDERS if " " not in name)
CHANNEL = 2
"""Where a fault sits that can sit in one channel: another channel then shows that the station is right."""
EVENTS = 110
"""Readings of one channel of the short ladder: what probabilities are scaled to."""
SCALED = {"F07": 1.0, "F45": 1.0}
"""Faults whose size is a probability for each event; at `above` it shows in 99 % of runs, at `at` in half of them."""
BESIDE = frozenset({Sight.LEVELS, Sight.FREQUENCY, Sight.REPEATS, Sight.CROSSTALK, Sight.NOISE, Sight.OFFSET})
"""Faults that need readings beside the ladder: they go to the job that takes these, when their device has one."""
KILLERS = dict.fromkeys(
    ("I22", "I23", "I28"), "ends the process that sweeps: tests/faults/test_host_faults.py gives it one of its own"
)
UNSEEN = frozenset(
    {Sight.TEMPERATURE, Sight.RESISTANCE, Sight.LOW_FREQUENCY, Sight.POLARITY, Sight.GOLDEN, Sight.CONVERTER}
)
"""No job of the project takes such readings: what needs them is not exercised, whatever its size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table."""

    device: str
    entry: FaultEntry
    label: str
    injected: str
    trials: tuple[Trial, ...]
    note: str = ""

    @property
    def found(self) -> int:
        """Runs in which something was seen: of the unit a FAIL, of others anything but a plain PASS."""
        seen = (
            {"FAIL"}
            if self.entry.kind == "product"
            else {"INVALID", "LOCKED", "STOPPED", "REFUSED", "FAIL", "INCONCLUSIVE"}
        )
        return sum(t.outcome in seen for t in self.trials)

    @property
    def blamed(self) -> int:
        """Runs in which the other side alone was named: the unit for the station's fault, or the reverse."""
        return sum(_blamed(self.entry, t) for t in self.trials)

    def cells(self) -> tuple[str | int, ...]:
        """As columns."""
        name, trials = self.entry.name, self.trials
        counts = Counter(t.outcome for t in trials)
        return (
            self.device, self.entry.id, name, SIZES[self.entry.id].kind, self.label, self.injected, len(trials),
            " ".join(f"{outcome}:{count}" for outcome, count in sorted(counts.items())), self.found,
            sum(t.named[:1] == (name,) for t in trials), sum(name in t.named for t in trials),
            sum(t.names(name) for t in trials), self.blamed, self.note,
        )  # fmt: skip


def _blamed(entry: FaultEntry, trial: Trial) -> bool:
    names = (*trial.named, *trial.together)
    if entry.kind == "io" or not names or trial.outcome == "PASS":
        return False
    return all(KNOWN[name].station != (entry.kind == "station") for name in names)


def ladder_of(entry: FaultEntry, device: str) -> str:
    """The ladder that can show a fault."""
    beside = f"{device} beside"
    return beside if KNOWN[entry.name].sight in BESIDE and beside in LADDERS else device


def text_of(entry: FaultEntry, label: str, device: str) -> str | None:
    """What to inject for a size; None where that size does not exist."""
    size = getattr(SIZES[entry.id], label)
    if size is None or entry.needs:
        return None
    several = len({setting.channel for setting, _ in setup_of(device).planned()}) > 1
    where = f":{CHANNEL}" if entry.takes_channel and not entry.roles and several else ""
    if entry.id in SCALED and label != "below":
        size = f"={-math.log(0.01 if label == 'above' else 0.5) / EVENTS:.3g}"
    late = "@150" if entry.id == "F19" and where else ""
    return f"{entry.name}{where}{size}{late}"


def rows(device: str, *, seeds: int, ids: Sequence[str] = (), labels: Sequence[str] = LABELS) -> Iterator[Row]:
    """The table of one device, in order of the catalogue; every fault has at least one row."""
    for entry in catalogue():
        if ids and entry.id not in ids:
            continue
        known = 0
        for label in labels:
            ladder = ladder_of(entry, device)
            injected = text_of(entry, label, ladder)
            if injected is None or entry.id in KILLERS:
                continue
            trials = tuple(safe_trial(ladder, (injected,), seed=seed) for seed in range(1, seeds + 1))
            known += 1
            yield Row(
                device=ladder, entry=entry, label=label, injected=injected, trials=trials, note=_note(entry, trials)
            )
            if trials[0].outcome == "UNABLE":
                break
        if not known:
            yield Row(
                device=device, entry=entry, label="none", injected="", trials=(),
                note=KILLERS.get(entry.id) or (f"cannot be injected: {entry.needs}" if entry.needs else "no such size"),
            )  # fmt: skip


def _note(entry: FaultEntry, trials: Sequence[Trial]) -> str:
    if trials[0].outcome == "UNABLE":
        return trials[0].how.replace("\n", " ")
    sight = KNOWN[entry.name].sight
    return f"not exercised: needs {sight}" if sight in UNSEEN else ""


def good_units(device: str, seeds: int) -> tuple[int, float]:
    """False alarms on good units: failures, and the upper bound of their share at 95 %."""
    failed = sum(safe_trial(device, (), seed=1000 + seed).outcome == "FAIL" for seed in range(seeds))
    return failed, share_interval(failed, trials=seeds, two_sided=False)[1]


def written(lines: Sequence[Row], *, command: str, alarms: Sequence[str]) -> str:
    """The table as text."""
    out = io.StringIO()
    out.write(f"# Written by `{command}`; do not edit.\n")
    for alarm in alarms:
        out.write(f"# {alarm}\n")
    out.write("# blamed: runs in which only the other side was named (the unit for the station, or the reverse).\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(row.cells() for row in lines)
    return out.getvalue()


def _of_id(device: str, identity: str, seeds: int) -> list[Row]:
    return list(rows(device, seeds=seeds, ids=(identity,)))


def main() -> None:
    """Write the table, or print a part of it."""
    parser = argparse.ArgumentParser(prog=COMMAND, description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seeds", type=int, default=2, help="units a row")
    parser.add_argument("--good", type=int, default=20, help="good units a device")
    parser.add_argument("--devices", nargs="+", choices=DEVICES, default=DEVICES)
    parser.add_argument("--ids", nargs="+", default=[], help="only these faults: printed, nothing is written")
    parser.add_argument("--workers", type=int, default=2, help="processes; the table does not depend on them")
    asked = parser.parse_args()
    ids = asked.ids or [entry.id for entry in catalogue()]
    jobs = [(device, identity) for device in asked.devices for identity in ids]
    lines: list[Row] = []
    alarms: list[str] = []
    with ProcessPoolExecutor(asked.workers) as pool:
        devices, names = zip(*jobs, strict=True)
        for found in pool.map(_of_id, devices, names, [asked.seeds] * len(jobs)):
            lines.extend(found)
            for row in found:
                print(*row.cells(), sep=" | ", file=sys.stderr, flush=True)
        if asked.ids:
            return
        for device, (failed, bound) in zip(
            asked.devices, pool.map(good_units, asked.devices, [asked.good] * len(asked.devices)), strict=True
        ):
            alarms.append(
                f"good units of the {device}: {failed} of {asked.good} FAIL; at 95 % below {100.0 * bound:.2g} %"
            )
    command = f"{COMMAND} --seeds {asked.seeds} --good {asked.good} --devices {' '.join(asked.devices)}"
    FILE.write_text(written(lines, command=command, alarms=alarms), "utf-8")


if __name__ == "__main__":
    main()
