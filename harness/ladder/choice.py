"""Which channels, ranges and fine positions a job names, as indices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.config.job_file import Ladder
from harness.errors import Problem
from harness.law import GainLaw


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Indices in rising order."""

    channels: tuple[int, ...]
    """1-based."""
    coarse: tuple[int, ...]
    fine: tuple[int, ...]
    problems: tuple[Problem, ...]
    """What the job names that the device does not have, or names twice."""


def choose(law: GainLaw, ladder: Ladder, *, file: str) -> Choice:
    """Which settings a job wants.

    Args:
        law: knows what the device has.
        ladder: of the job file; an empty list means all.
        file: the job file's name, for messages.
    Returns:
        the indices, in rising order whatever the order in the job, and the problems.
    """
    channels = range(1, law.channels + 1)
    fine = range(len(law.fine_names))
    problems = (
        *_unknown("channels", ladder.channels, channels, f"1 to {law.channels}", file),
        *_unknown("coarse", ladder.coarse, law.coarse_names, "one of " + ", ".join(law.coarse_names), file),
        *_unknown("fine", ladder.fine, fine, f"0 to {fine[-1]}", file),
    )
    named = [index for index, name in enumerate(law.coarse_names) if name in ladder.coarse or not ladder.coarse]
    return Choice(
        channels=tuple(index for index in channels if index in ladder.channels or not ladder.channels),
        coarse=tuple(named),
        fine=tuple(index for index in fine if index in ladder.fine or not ladder.fine),
        problems=problems,
    )


def _unknown(
    key: str, wanted: Sequence[int | str], known: Sequence[int | str], allowed: str, file: str
) -> list[Problem]:
    found: list[Problem] = []
    for index, value in enumerate(wanted):
        if value not in known:
            found.append(Problem(file=file, key=f"ladder.{key}[{index}]", got=repr(value), allowed=allowed))
        elif value in wanted[:index]:
            found.append(Problem(file=file, key=f"ladder.{key}[{index}]", got=f"{value!r} again", allowed="each once"))
    return found
