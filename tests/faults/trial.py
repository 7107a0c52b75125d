"""One unit with one fault, swept and judged in process: what came out, and what was named."""

from __future__ import annotations

import functools
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from harness.app.bench_open import open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup, read_setup
from harness.errors import BenchError, StationFault, StoreError, UsageError
from harness.sweep import sweep
from harness.values import Event, Outcome, Reading, RunResult
from tests.faults.own_jobs import CONFIGS, OWN_JOBS, as_it_is

LADDERS: dict[str, tuple[str, str]] = {
    "skerry-hr-4": ("ci", "fine = [0, 5, 10, 15, 20]"),
    "skerry-hr-4 beside": ("validation", "fine = [0, 10, 20]"),
    "skerry-hr-4 short": ("skerry-hr-4-short", ""),
    "skerry-hr-4 full": ("demo", ""),
    "tarn-vg-1": ("tarn-vg-1", "fine = [0, 12, 27, 40, 56]"),
    "tarn-vg-1 beside": ("tarn-vg-1-validation", "fine = [0, 20, 40, 56]"),
    "tarn-vg-1 short": ("tarn-vg-1-short", ""),
    "tarn-vg-1 full": ("tarn-vg-1", ""),
    "corrie-ur-2": ("corrie-ur-2", "fine = [0, 1, 20, 31, 32, 40]"),
    "corrie-ur-2 beside": ("corrie-ur-2-validation", "fine = [37, 38, 39, 40]"),
    "corrie-ur-2 short": ("corrie-ur-2-short", ""),
    "corrie-ur-2 full": ("corrie-ur-2", ""),
}
"""By device: its job, and the fine positions that stand for all; `beside` adds the readings beside the ladder,
`short` is the short ladder of the line, `full` every setting."""


class Kept:
    """A recorder that only remembers."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self.events: list[Event] = []

    def record(self, reading: Reading) -> None:
        """Keep a reading."""
        self.readings.append(reading)

    def note(self, kind: str, text: str) -> None:
        """Keep a line of the journal."""
        self.events.append(Event(at_utc="", at_s=0.0, kind=kind, text=text))


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """How one run ended."""

    outcome: str
    """PASS, FAIL, INCONCLUSIVE, INVALID; LOCKED when the station was found faulty; STOPPED with another error."""
    named: tuple[str, ...]
    """The best three, best first."""
    together: tuple[str, ...]
    """Faults that are said not to be told from these."""
    none_of_these: bool
    blind: tuple[str, ...] = ()
    """Ids of faults that the run says it cannot see, each with what it needs."""
    how: str = ""
    """The error that stopped it, or what failed first."""

    def names(self, fault: str) -> bool:
        """Whether a fault is among the best three, or stands beside one of them as not told apart."""
        return fault in self.named or fault in self.together


@functools.cache
def setup_of(device: str) -> Setup:
    """The short ladder of a device, up and down; or a job of its own."""
    if device in OWN_JOBS:
        return OWN_JOBS[device].setup()
    job, fine = LADDERS[device]
    with tempfile.TemporaryDirectory() as home:
        configs = Path(shutil.copytree(CONFIGS, Path(home) / "configs"))
        path = configs / "jobs" / f"{job}.toml"
        text = path.read_text("utf-8")
        if fine not in text:
            text = text.replace("[ladder]", f"[ladder]\n{fine}")
        path.write_text(text.replace("channels = [1, 2, 3]", "channels = [1, 2]"), "utf-8")
        return read_setup(str(path))


def trial(device: str, faults: Sequence[str], *, seed: int) -> Trial:
    """Sweep and judge a unit of a device; UsageError for a fault that it cannot have."""
    setup, kept = setup_of(device), Kept()
    ended = how = ""
    with open_bench(setup.bench, setup.device, transport="in-process", seed=seed, faults=tuple(faults)) as opened:
        (OWN_JOBS[device].before if device in OWN_JOBS else as_it_is)(opened)
        try:
            sweep(opened.bench, plan_of(setup), opened.recorder(kept), progress=lambda done, reading: None)
        except StationFault as error:
            ended, how = "LOCKED", str(error)
        except (BenchError, StoreError, KeyboardInterrupt) as error:
            ended, how = "STOPPED", f"{type(error).__name__}: {error}"
    judge = judge_of(setup)
    for reading in kept.readings:
        judge.take(reading)
    return _of(judge.result(kept.events), ended, how)


def _of(result: RunResult, ended: str, how: str) -> Trial:
    failing = next((j.reason for j in result.judgements if j.outcome is Outcome.FAIL), "")
    return Trial(
        outcome=ended or str(result.verdict),
        named=tuple(candidate.fault for candidate in result.candidates),
        together=tuple(dict.fromkeys(other for candidate in result.candidates for other in candidate.ambiguous)),
        none_of_these=bool(result.none_of_these),
        blind=tuple(f"{part.split()[0]}: {needs}" for part, needs in _blind(result.not_exercised)),
        how=how or failing,
    )


def _blind(lines: Sequence[str]) -> list[tuple[str, str]]:
    """`F23 relay-contact-film, T12 fixture-worn: needs ...` as pairs."""
    pairs = [line.split(": ", 1) for line in lines]
    return [(part, needs) for names, needs in pairs for part in names.split(", ")]


def safe_trial(device: str, faults: Sequence[str], *, seed: int) -> Trial:
    """The same, with a fault that the device cannot have, or that opens no bench, as an outcome of its own."""
    try:
        return trial(device, faults, seed=seed)
    except UsageError as error:
        return Trial(outcome="UNABLE", named=(), together=(), none_of_these=False, how=str(error))
    except (BenchError, StoreError, KeyboardInterrupt) as error:
        return Trial(
            outcome="REFUSED", named=(), together=(), none_of_these=False, how=f"{type(error).__name__}: {error}"
        )
