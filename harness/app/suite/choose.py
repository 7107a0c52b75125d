"""Ranges by the names that people use."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from harness.app.suite.claim import Range
from harness.errors import UsageError


def ranges_named(
    ladder: Collection[Range], coarse_names: Sequence[str], *, channel: int | None, coarse: str | None
) -> tuple[Range, ...]:
    """The ranges of a channel (all for None) that carry a name (all for None), in order of the ladder."""
    found = tuple(
        (number, index)
        for number, index in ladder
        if channel in (None, number) and coarse in (None, coarse_names[index])
    )
    if not found:
        channels = ", ".join(str(number) for number in dict.fromkeys(number for number, _ in ladder))
        names = ", ".join(coarse_names[index] for index in dict.fromkeys(index for _, index in ladder))
        raise UsageError(
            f"the ladder has no range {coarse or 'at all'} on channel {channel or 'any'}; "
            f"it has the channels {channels} and the ranges {names}"
        )
    return found
