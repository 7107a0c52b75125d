"""Where settings stand on the horizontal axis that the residual figures share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.values import RunResult, Setting

GAP = 2
"""Empty places between two ranges."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """The axis: ranges side by side, fine positions inside; the same for every channel."""

    at: Mapping[tuple[int, int], int]
    """Place by (coarse, fine)."""
    ranges: tuple[tuple[int, int, int], ...]
    """Coarse index, first and last place."""
    channels: tuple[int, ...]

    def of(self, setting: Setting) -> int:
        """Where a setting stands.

        Args:
            setting: one of the run's.
        Returns:
            its place.
        """
        return self.at[(setting.coarse, setting.fine)]


def places_of(result: RunResult) -> Places:
    """The axis for a run.

    Args:
        result: of a run.
    Returns:
        places of every (coarse, fine) that any channel has.
    """
    at: dict[tuple[int, int], int] = {}
    ranges: list[tuple[int, int, int]] = []
    place = 0
    pairs = sorted({(row.setting.coarse, row.setting.fine) for row in result.settings})
    for coarse in sorted({coarse for coarse, _ in pairs}):
        first = place
        for pair in (pair for pair in pairs if pair[0] == coarse):
            at[pair] = place
            place += 1
        ranges.append((coarse, first, place - 1))
        place += GAP
    channels = tuple(sorted({row.setting.channel for row in result.settings}))
    return Places(at=at, ranges=tuple(ranges), channels=channels)
