"""All limits of a run: which row holds where."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from harness.config import Coarse, LimitItem
from harness.values import Setting

CODE_UNITS = frozenset({"codes rms"})
"""Units of numbers that arithmetic multiplies with the codes; all others are relative, or referred to the input; of an
offset the claim takes the arithmetic off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Underneath:
    """The hardware range that a declared arithmetic one multiplies."""

    coarse: int
    arithmetic_ratio: float


def hardware_underneath(ranges: Sequence[Coarse]) -> Mapping[int, Underneath]:
    """Which hardware range stands underneath each declared arithmetic one.

    Args:
        ranges: of a device, in order of the coarse index.
    Returns:
        by coarse index; a range without another one of the same hardware is not among them.
    Source:
        design rule: declared arithmetic is held to the limits of the hardware that it multiplies.
    """
    found: dict[int, Underneath] = {}
    for index, one in enumerate(ranges):
        for below, other in enumerate(ranges):
            same = other.controls == one.controls and other.arithmetic_ratio == 1.0
            full_scale_vpp = one.full_scale_vpp * one.arithmetic_ratio
            if one.arithmetic_ratio != 1.0 and same and math.isclose(other.full_scale_vpp, full_scale_vpp):
                found[index] = Underneath(coarse=below, arithmetic_ratio=one.arithmetic_ratio)
    return found


class LimitSet(Mapping[str, LimitItem]):
    """Limits by item; an item may have one row for everywhere and others for some channels or ranges."""

    def __init__(
        self,
        rows: Sequence[tuple[str, LimitItem]],
        *,
        coarse_names: Sequence[str] = (),
        underneath: Mapping[int, Underneath] | None = None,
    ) -> None:
        """Take the rows.

        Args:
            rows: name of the item and row, each row's rule filled in; limits on parameters under `parameter NAME`.
            coarse_names: of the device, in order of the coarse index; needed by rows that name ranges.
            underneath: the hardware range of each arithmetic one, by coarse index.
        """
        self._rows: dict[str, list[LimitItem]] = {}
        for name, row in rows:
            self._rows.setdefault(name, []).append(row)
        self._coarse = tuple(coarse_names)
        self._underneath = dict(underneath or {})
        self._known: dict[tuple[str, int, int], LimitItem | None] = {}

    def __getitem__(self, item: str) -> LimitItem:
        """The row for everywhere, else the first of those for somewhere."""
        rows = self._rows[item]
        return next((row for row in rows if not row.scoped), rows[0])

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    @property
    def rows(self) -> tuple[tuple[str, LimitItem], ...]:
        """Name and row of every requirement."""
        return tuple((name, row) for name, rows in self._rows.items() for row in rows)

    @property
    def coarse_names(self) -> tuple[str, ...]:
        """Ranges of the device, in order of the coarse index."""
        return self._coarse

    @property
    def underneath(self) -> Mapping[int, Underneath]:
        """The hardware range of each arithmetic one, by coarse index."""
        return self._underneath

    def at(self, item: str, setting: Setting) -> LimitItem | None:
        """Which row holds at a setting.

        Args:
            item: name of the item.
            setting: of a step the upper one; of a parameter any of its channel.
        Returns:
            the row whose scope holds the setting; for a declared arithmetic range without one, that of the hardware
            range underneath, multiplied where its numbers are codes; else the row for everywhere; None without any.
        Source:
            none: a rule of the limits file.
        """
        place = (item, setting.channel, setting.coarse)
        if place not in self._known:
            self._known[place] = self._found(item, setting)
        return self._known[place]

    def _found(self, item: str, setting: Setting) -> LimitItem | None:
        rows = self._rows.get(item, ())
        scoped = [row for row in rows if row.scoped]
        own = next((row for row in scoped if self._holds(row, setting)), None)
        if own is None and scoped and setting.coarse in self._underneath:
            below = self._underneath[setting.coarse]
            there = Setting(setting.channel, below.coarse, setting.fine)
            row = next((row for row in scoped if self._holds(row, there)), None)
            own = None if row is None else _multiplied(row, below.arithmetic_ratio)
        return own or next((row for row in rows if not row.scoped), None)

    def _holds(self, row: LimitItem, setting: Setting) -> bool:
        named = not row.coarse or (setting.coarse < len(self._coarse) and self._coarse[setting.coarse] in row.coarse)
        return named and (not row.channels or setting.channel in row.channels)


def _multiplied(row: LimitItem, ratio: float) -> LimitItem:
    """The row of the hardware for codes that arithmetic has multiplied."""
    if row.unit not in CODE_UNITS:
        return row
    numbers = {"low": row.low, "high": row.high, "guard": row.guard}
    return row.model_copy(update={key: value * ratio for key, value in numbers.items() if value is not None})


def overlap(one: LimitItem, other: LimitItem) -> bool:
    """Whether two rows of one item hold at the same place.

    Args:
        one: a row.
        other: another row of the same item.
    Returns:
        True where both are for everywhere, or both are for somewhere and share a channel and a range: then nothing
        tells which of them counts.
    Source:
        none: a rule of the limits file.
    """
    if one.scoped != other.scoped:
        return False
    return _meet(one.channels, other.channels) and _meet(one.coarse, other.coarse)


def _meet(one: Sequence[object], other: Sequence[object]) -> bool:
    return not one or not other or bool(set(one) & set(other))
