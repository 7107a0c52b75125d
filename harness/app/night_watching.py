"""How far a night has come, looked at from outside: its runs one after another, by the record alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime

from harness.app.night_preview import hours
from harness.app.run_lock import is_under_way
from harness.app.watching import LOOK_S
from harness.store import Store
from harness.values import RunInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class NightLook:
    """Where a night is when one of its runs is looked at."""

    night_id: str
    run: int
    """1-based: which of its runs."""
    planned: int
    unit: str
    corner: str
    cycle: int
    """1-based."""
    ends: Mapping[str, int]
    """How many runs have ended how."""
    left_s: float | None
    """For the runs not begun, at the pace of the finished ones, dwells included; None before there is one."""


def followed(
    store: Store, run_id: str, *, sleep: Callable[[float], None], under_way: Callable[[str], bool] = is_under_way
) -> Iterator[str]:
    """The run, and behind it each run that its night begins, for as long as the night goes on; a run by itself once."""
    yield run_id
    place = store.header(run_id).night
    while place is not None:
        # Asked before the record is read: a run that begins in between is seen at the next look.
        alive = under_way(place.night_id)
        later = [info.header.run_id for info in _runs(store, place.night_id)]
        rest = later[later.index(run_id) + 1 :]
        if rest:
            run_id = rest[0]
            yield run_id
        elif alive:
            sleep(LOOK_S)
        else:
            return


def night_look(store: Store, run_id: str) -> NightLook | None:
    """Where the night of a run is; None for a run by itself."""
    place = store.header(run_id).night
    if place is None:
        return None
    runs = _runs(store, place.night_id)
    number = next(index for index, info in enumerate(runs, 1) if info.header.run_id == run_id)
    ends: dict[str, int] = {}
    for info in runs:
        if info.end:
            ends[info.end] = ends.get(info.end, 0) + 1
    taken_s = [_seconds(info) for info in runs if info.end == "finished"]
    left = max(place.planned - len(runs), 0)
    return NightLook(
        night_id=place.night_id, run=number, planned=place.planned, unit=runs[number - 1].header.unit,
        corner=place.corner, cycle=place.cycle + 1, ends=ends,
        left_s=left * sum(taken_s) / len(taken_s) if taken_s else None,
    )  # fmt: skip


def night_line(look: NightLook) -> str:
    """A night for a person."""
    ends = ", ".join(f"{count} {end}" for end, count in look.ends.items())
    left = "" if look.left_s is None else f"; about {hours(look.left_s)} for the runs not begun"
    return (
        f"night {look.night_id}: run {look.run} of {look.planned}, unit {look.unit}, {look.corner}, cycle {look.cycle}"
        f"{f' ({ends})' if ends else ''}{left}"
    )


def night_json(look: NightLook) -> dict[str, object]:
    """A night for a machine."""
    return {"kind": "night", **asdict(look)}


def _runs(store: Store, night_id: str) -> list[RunInfo]:
    """The runs of a night, the first one first."""
    return [i for i in reversed(store.runs()) if i.header.night is not None and i.header.night.night_id == night_id]


def _seconds(info: RunInfo) -> float:
    """From a run's begin to its end by the wall clock, which may have been set back meanwhile."""
    begun, ended = (datetime.fromisoformat(text) for text in (info.header.started_utc, info.finished_utc))
    return max((ended - begun).total_seconds(), 0.0)
