"""Which runs make a lot."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import NamedTuple, Protocol

from harness.errors import UsageError
from harness.values import RunSummary


class Head(NamedTuple):
    """What decides whether a run belongs to a lot; a tuple, for there are many."""

    run_id: str
    unit: str
    started_utc: str
    night: bool
    """Part of a night: design validation, no production."""
    end: str
    """Empty while it is being recorded, or after a death."""
    job: str
    """Name of the job file without folder and ending."""
    device: str
    golden: bool = False
    """Of a golden unit: it says something about the station."""
    repaired: bool = False
    """The first behind a repair of the unit."""


class Lot(Protocol):
    """Where runs and their summaries come from."""

    def heads(self) -> list[Head]:
        """All runs, oldest first."""
        ...

    def summaries(self, heads: Sequence[Head]) -> Iterator[tuple[Head, RunSummary | None]]:
        """The runs of some heads, in their order, with their summaries; None where a run has none."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The runs of a lot, and why others are none of it."""

    heads: tuple[Head, ...]
    left_out: tuple[tuple[str, int], ...]
    """Reason and number of runs."""


def name_of(path: str) -> str:
    """The name of a configuration file without folder and ending."""
    return PurePosixPath(path).stem


def choose(heads: Sequence[Head], *, job: str, since: str, until: str = "") -> Choice:
    """Runs of one job, that of the last run where none is named, begun on a date or later, before a moment
    where one is given.

    Raises:
        UsageError: there is no such run; names the jobs that there are.
    """
    if not heads:
        raise UsageError("lot: no run is recorded there; sweep a unit first, or name another store with --store")
    single = [head for head in heads if not head.night and not head.golden]
    wanted = job or (single or heads)[-1].job
    reasons: dict[str, Callable[[Head], bool]] = {
        "part of a night": lambda head: head.night,
        "of a golden unit": lambda head: head.golden,
        "another job": lambda head: head.job != wanted,
        f"before {since}": lambda head: head.started_utc < since,
        f"from {until} on": lambda head: bool(until) and head.started_utc >= until,
        "not ended": lambda head: not head.end,
    }
    counts = dict.fromkeys(reasons, 0)
    chosen = []
    for head in heads:
        reason = next((text for text, holds in reasons.items() if holds(head)), "")
        if reason:
            counts[reason] += 1
        else:
            chosen.append(head)
    left_out = tuple((reason, count) for reason, count in counts.items() if count)
    if not chosen:
        jobs = ", ".join(sorted({head.job for head in heads}))
        why = ", ".join(f"{count} {reason}" for reason, count in left_out)
        raise UsageError(f"lot: got job {wanted!r}: no run is left ({why}); jobs there: {jobs}")
    return Choice(heads=tuple(chosen), left_out=left_out)
