"""Which channels, ranges and fine positions a job names, as indices."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.config import LadderFile
from harness.config.job_file import Ladder
from harness.errors import Problem
from harness.law import GainLaw


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Indices in rising order."""

    channels: tuple[int, ...]
    """1-based."""
    fine: Mapping[int, tuple[int, ...]]
    """Fine positions by coarse index, ranges in rising order."""
    asked_at: Mapping[int, tuple[str, str]]
    """File and key that ask for a range, by coarse index."""
    problems: tuple[Problem, ...]
    """What the job names that the device does not have, or names twice."""

    @property
    def coarse(self) -> tuple[int, ...]:
        """The ranges that are visited."""
        return tuple(self.fine)


def choose(law: GainLaw, ladder: Ladder, *, file: str, named: LadderFile | None = None, named_by: str = "") -> Choice:
    """Which settings a job wants.

    Args:
        law: knows what the device has.
        ladder: of the job file; an empty list means all.
        file: the job file's name, for messages.
        named: the ladder file of the job; None: what the job lists, or all.
        named_by: the ladder file's name, for messages.
    Returns:
        the indices, in rising order whatever the order in the files, and the problems.
    """
    channels = range(1, law.channels + 1)
    fine = range(len(law.fine_names))
    places = "0 to " + str(fine[-1])
    ranges = "one of " + ", ".join(law.coarse_names)
    problems = list(_unknown("ladder.channels", ladder.channels, channels, f"1 to {law.channels}", file))
    if named is None:
        problems += _unknown("ladder.coarse", ladder.coarse, law.coarse_names, ranges, file)
        problems += _unknown("ladder.fine", ladder.fine, fine, places, file)
        wanted = {
            index: tuple(one for one in fine if one in ladder.fine or not ladder.fine)
            for index, name in enumerate(law.coarse_names)
            if name in ladder.coarse or not ladder.coarse
        }
        keys = {name: f"ladder.coarse[{place}]" for place, name in enumerate(ladder.coarse)}
        asked_at = {index: (file, keys.get(law.coarse_names[index], "ladder.coarse")) for index in wanted}
    else:
        for index, row in enumerate(named.range):
            problems += _unknown(f"range[{index}].fine", row.fine, fine, places, named_by)
            if row.coarse not in law.coarse_names:
                problems.append(
                    Problem(file=named_by, key=f"range[{index}].coarse", got=repr(row.coarse), allowed=ranges)
                )
        by_name = {row.coarse: row.fine for row in named.range}
        wanted = {
            index: tuple(one for one in fine if one in by_name[name])
            for index, name in enumerate(law.coarse_names)
            if name in by_name
        }
        keys = {row.coarse: f"range[{place}].coarse" for place, row in enumerate(named.range)}
        asked_at = {index: (named_by, keys[law.coarse_names[index]]) for index in wanted}
    return Choice(
        channels=tuple(index for index in channels if index in ladder.channels or not ladder.channels),
        fine=wanted,
        asked_at=asked_at,
        problems=tuple(problems),
    )


def _unknown(
    key: str, wanted: Sequence[int | str], known: Sequence[int | str], allowed: str, file: str
) -> list[Problem]:
    found: list[Problem] = []
    for index, value in enumerate(wanted):
        if value not in known:
            found.append(Problem(file=file, key=f"{key}[{index}]", got=repr(value), allowed=allowed))
        elif value in wanted[:index]:
            found.append(Problem(file=file, key=f"{key}[{index}]", got=f"{value!r} again", allowed="each once"))
    return found
