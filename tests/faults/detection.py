"""Rows of the detection table: one fault of one device at one size, over some seeds."""

from __future__ import annotations

import functools
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from harness.diagnosis import KNOWN, Sight
from harness.simulated import SIZES, catalogue
from harness.simulated.fault_entry import FaultEntry
from tests.faults.golden_trial import GOLDEN, golden_trial
from tests.faults.own_jobs import OWN, OWN_JOBS
from tests.faults.sizes_elsewhere import sizes_of
from tests.faults.trial import LADDERS, Trial, safe_trial, setup_of

LABELS = ("below", "at", "above")
COLUMNS = (
    "device", "id", "fault", "kind", "size", "injected", "seeds", "outcomes", "found", "first", "three", "together",
    "blamed", "smallest", "note",
)  # fmt: skip
DEVICES = tuple(name for name in LADDERS if " " not in name)
CHANNEL = 2
"""Where a fault sits that can sit in one channel: another channel then shows that the station is right."""
SCALED = ("F07", "F45")
"""Faults whose size is a probability for each event; at `above` it shows in 99 % of runs, at `at` in half of them."""
SELF_CHECK_RECORDS = 12
"""About so many."""
BESIDE = frozenset(
    {Sight.LEVELS, Sight.FREQUENCY, Sight.REPEATS, Sight.CLIP, Sight.CROSSTALK, Sight.NOISE, Sight.OFFSET}
) | {Sight.POLARITY}
"""Faults that need readings beside the ladder: they go to the job that takes these, when their device has one."""
WHOLE = frozenset({("tarn-vg-1", Sight.CONVERTER)})
"""Faults that need every setting: ten of two ranges do not show each code of the converter."""
KILLERS = dict.fromkeys(
    ("I22", "I23", "I28"), "ends the process that sweeps: tests/faults/test_host_faults.py gives it one of its own"
)
OF_THE_UNIT = frozenset({"FAIL"})
OF_OTHERS = frozenset({"INVALID", "LOCKED", "STOPPED", "REFUSED", "FAIL", "INCONCLUSIVE"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table."""

    device: str
    entry: FaultEntry
    label: str
    injected: str
    trials: tuple[Trial, ...]
    smallest: str = ""
    """The smallest size that was found, where that was looked for."""
    note: str = ""

    @property
    def found(self) -> int:
        """Runs in which something was seen: of the unit a FAIL, of others anything but a plain PASS."""
        return sum(seen(self.entry, trial) for trial in self.trials)

    @property
    def three(self) -> int:
        """Runs in which it was among the best three."""
        return sum(self.entry.name in trial.named for trial in self.trials)

    @property
    def together(self) -> int:
        """Runs in which it was among the best three, or beside one of them as not told apart."""
        return sum(trial.names(self.entry.name) for trial in self.trials)

    @property
    def blamed(self) -> int:
        """Runs in which the other side alone was named: the unit for the station's fault, or the reverse."""
        return sum(_blamed(self.entry, trial) for trial in self.trials)

    def cells(self) -> tuple[str | int, ...]:
        """As columns."""
        name, trials = self.entry.name, self.trials
        counts = Counter(trial.outcome for trial in trials)
        return (
            self.device, self.entry.id, name, SIZES[self.entry.id].kind, self.label, self.injected, len(trials),
            " ".join(f"{outcome}:{count}" for outcome, count in sorted(counts.items())), self.found,
            sum(trial.named[:1] == (name,) for trial in trials), self.three, self.together, self.blamed,
            self.smallest, self.note,
        )  # fmt: skip


def seen(entry: FaultEntry, trial: Trial) -> bool:
    """Whether a run showed that something is wrong."""
    return trial.outcome in (OF_THE_UNIT if entry.kind == "product" else OF_OTHERS)


def _blamed(entry: FaultEntry, trial: Trial) -> bool:
    names = (*trial.named, *trial.together)
    if entry.kind == "io" or not names or trial.outcome == "PASS":
        return False
    return all(KNOWN[name].station != (entry.kind == "station") for name in names)


def ladder_of(entry: FaultEntry, device: str) -> str:
    """The ladder that can show a fault."""
    beside = f"{device} beside"
    if (device, KNOWN[entry.name].sight) in WHOLE:
        return f"{device} full"
    if f"{device} {OWN.get(entry.id)}" in OWN_JOBS:
        return f"{device} {OWN[entry.id]}"
    if KNOWN[entry.name].sight is Sight.GOLDEN:
        return f"{device} {GOLDEN}"
    return beside if KNOWN[entry.name].sight in BESIDE and beside in LADDERS else device


def tried(ladder: str, injected: str, *, seed: int) -> Trial:
    """One run, or one look at a golden unit."""
    run = golden_trial if ladder.endswith(f" {GOLDEN}") else safe_trial
    return run(ladder, (injected,), seed=seed)


def text_of(entry: FaultEntry, label: str, ladder: str) -> str | None:
    """What to inject for a size; None where that size does not exist."""
    size = getattr(sizes_of(entry, ladder), label)
    if size is None or entry.needs:
        return None
    if entry.id in SCALED and label != "below":
        size = f"={-math.log(0.01 if label == 'above' else 0.5) / _events(ladder):.3g}"
    # In the middle of the channel's readings, where it follows another one of the same ladder and the self-check.
    late = f"@{round(1.25 * _events(ladder)) + SELF_CHECK_RECORDS}" if entry.id == "F19" and _several(ladder) else ""
    return f"{placed(entry, ladder)}{size}{late}"


def placed(entry: FaultEntry, ladder: str) -> str:
    """Its name, with a channel where it can sit in one."""
    return f"{entry.name}:{CHANNEL}" if entry.takes_channel and not entry.roles and _several(ladder) else entry.name


def _several(ladder: str) -> bool:
    return len(_counts(ladder)) > 1


def _events(ladder: str) -> int:
    """Readings of one channel."""
    return min(_counts(ladder).values())


@functools.cache
def _counts(ladder: str) -> Counter[int]:
    return Counter(rung.setting.channel for rung in setup_of(ladder).rungs)


def rows(
    device: str, *, seeds: Sequence[int], ids: Sequence[str] = (), labels: Sequence[str] = LABELS
) -> Iterator[Row]:
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
            first = tried(ladder, injected, seed=seeds[0])
            unable = first.outcome == "UNABLE"
            more = () if unable else tuple(tried(ladder, injected, seed=seed) for seed in seeds[1:])
            known += 1
            row = Row(device=ladder, entry=entry, label=label, injected=injected, trials=(first, *more))
            yield replace(row, note=note_of(entry, ladder, first))
            if unable:
                break
        if not known:
            yield Row(
                device=device, entry=entry, label="none", injected="", trials=(),
                note=KILLERS.get(entry.id) or (f"cannot be injected: {entry.needs}" if entry.needs else "no such size"),
            )  # fmt: skip


def note_of(entry: FaultEntry, ladder: str, trial: Trial) -> str:
    """Why a row says nothing of the fault; a run that was stopped has not looked, and says nothing of what it sees.

    A job of its own shows the fault, though one run cannot say so of itself: half of two temperatures.
    """
    if ladder in OWN_JOBS:
        return ""
    if trial.outcome == "UNABLE":
        return trial.how.replace("\n", " ")
    needs = next((text for text in trial.blind if text.startswith(f"{entry.id}: ")), "")
    stopped = trial.outcome in ("LOCKED", "STOPPED", "REFUSED")
    return f"not exercised{needs[len(entry.id) :]}" if needs and not stopped else ""
