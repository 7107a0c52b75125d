"""What is left of an interrupted ladder, and which readings tell whether the bench still says what it said; pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harness.values import Direction, Purpose, Reading, ReadingStatus, Rung, Setting

LAST = 3
"""So many settings are read again before an interrupted ladder goes on."""

SAME_RATIO = 0.01
"""Two levels or frequencies closer than this are one."""

Key = tuple[Setting, Direction, Purpose]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Resumption:
    """Where an interrupted ladder goes on."""

    first_index: int
    """Of the next reading in the record."""
    left: tuple[Rung, ...]
    """Rungs without a final reading, in order of the ladder."""
    before: tuple[Reading, ...]
    """Readings to be taken again before it goes on: the anchor, then the last settings, oldest first."""

    @classmethod
    def of_new_run(cls, rungs: tuple[Rung, ...]) -> Resumption:
        """A ladder of which nothing has been walked yet."""
        return cls(first_index=0, left=rungs, before=())


def resumption(rungs: Sequence[Rung], readings: Iterable[Reading], *, frequency_hz: float) -> Resumption:
    """Where a ladder goes on, from what is recorded of it.

    A rung is done when the record holds a final reading for its key: setting, direction, purpose, and the level or the
    frequency where the purpose needs several of them. A key that the ladder has several times counts so often. A
    reading for which there was no working bench does not count. `frequency_hz` is the device file's test frequency.
    """
    done: defaultdict[Key, list[float]] = defaultdict(list)
    index = -1
    anchor: Reading | None = None
    last: list[Reading] = []
    for reading in readings:
        index = reading.index
        if not reading.final or reading.bench_gone:
            continue
        if reading.purpose is not Purpose.ANCHOR:
            value = _told_apart(reading.purpose, reading.drive_set_vpk, reading.frequency_hz)
            done[reading.setting, reading.direction, reading.purpose].append(value)
        if reading.status is not ReadingStatus.VALID:
            continue
        if anchor is None or reading.purpose is Purpose.ANCHOR:
            anchor = reading
        if reading.purpose is Purpose.LADDER:
            last = [*[known for known in last if known.setting != reading.setting], reading][-LAST:]
    left: list[Rung] = []
    for rung in rungs:
        wanted = _told_apart(rung.purpose, rung.drive_vpk, rung.frequency_hz or frequency_hz)
        values = done[rung.setting, rung.direction, rung.purpose]
        known = next((value for value in values if abs(value - wanted) <= SAME_RATIO * wanted), None)
        if known is None:
            left.append(rung)
        else:
            values.remove(known)
    first = () if anchor is None or any(anchor.setting == reading.setting for reading in last) else (anchor,)
    return Resumption(first_index=index + 1, left=tuple(left), before=(*first, *last))


def _told_apart(purpose: Purpose, drive_vpk: float, frequency_hz: float) -> float:
    """What tells readings of one key apart: the level or the frequency; 0 where all are alike."""
    if purpose in (Purpose.TWO_LEVEL, Purpose.EXACT):
        return drive_vpk
    return frequency_hz if purpose is Purpose.SECOND_FREQUENCY else 0.0
