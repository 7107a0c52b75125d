"""All limits of a run: which row holds where."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from harness.config import LimitItem
from harness.values import Setting


class LimitSet(Mapping[str, LimitItem]):
    """Limits by item; an item may have one row for everywhere and others for some channels or ranges."""

    def __init__(self, rows: Sequence[tuple[str, LimitItem]], *, coarse_names: Sequence[str] = ()) -> None:
        """Take the rows.

        Args:
            rows: name of the item and row, each row's rule filled in; limits on parameters under `parameter NAME`.
            coarse_names: of the device, in order of the coarse index; needed by rows that name ranges.
        """
        self._rows: dict[str, list[LimitItem]] = {}
        for name, row in rows:
            self._rows.setdefault(name, []).append(row)
        self._coarse = tuple(coarse_names)

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

    def at(self, item: str, setting: Setting) -> LimitItem | None:
        """Which row holds at a setting.

        Args:
            item: name of the item.
            setting: of a step the upper one; of a parameter any of its channel.
        Returns:
            the row whose scope holds the setting, before the one for everywhere; None without either.
        Source:
            none: a rule of the limits file.
        """
        rows = self._rows.get(item, ())
        return next((row for row in rows if row.scoped and self._holds(row, setting)), None) or next(
            (row for row in rows if not row.scoped), None
        )

    def _holds(self, row: LimitItem, setting: Setting) -> bool:
        named = not row.coarse or (setting.coarse < len(self._coarse) and self._coarse[setting.coarse] in row.coarse)
        return named and (not row.channels or setting.channel in row.channels)


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
