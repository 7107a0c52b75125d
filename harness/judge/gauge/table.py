"""The readings of a gauge study: every part, measured by every appraiser, equally often."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from harness.errors import MeasureError, NotFinite

LEAST = 2
"""Parts, appraisers and trials: one of a kind shows no spread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeTable:
    """A balanced table."""

    parts: tuple[str, ...]
    appraisers: tuple[str, ...]
    values: NDArray[np.float64]
    """Shape (parts, appraisers, trials), unit of the measured number."""

    @property
    def trials(self) -> int:
        """Readings in each cell."""
        return int(self.values.shape[2])

    @classmethod
    def of(cls, cells: Mapping[tuple[str, str], Sequence[float]]) -> GaugeTable:
        """Put readings in order.

        Args:
            cells: by part and appraiser, the readings in order of time.
        Returns:
            the table; of cells with more readings than the poorest one the newest count.
        Raises:
            MeasureError: a cell is missing, or there are fewer than two parts, appraisers or trials.
            NotFinite: a reading is NaN or infinite.
        Source:
            AIAG, Measurement Systems Analysis, 4th ed., chapter III-B: a crossed study.
        """
        parts = tuple(dict.fromkeys(part for part, _ in cells))
        appraisers = tuple(dict.fromkeys(appraiser for _, appraiser in cells))
        missing = [(part, who) for part in parts for who in appraisers if not cells.get((part, who))]
        if missing:
            part, who = missing[0]
            raise MeasureError(
                f"gauge study: {part} was never measured by {who}; allowed: every part by every appraiser: measure "
                f"the {len(missing)} missing pairs, or leave those parts out"
            )
        trials = min((len(readings) for readings in cells.values()), default=0)
        for name, count in (("parts", len(parts)), ("appraisers", len(appraisers)), ("trials", trials)):
            if count < LEAST:
                raise MeasureError(f"gauge study: {count} {name}; allowed: {LEAST} or more: measure further ones")
        values = np.asarray(
            [[list(cells[part, who])[-trials:] for who in appraisers] for part in parts], dtype=np.float64
        )
        if not np.isfinite(values).all():
            raise NotFinite("gauge study: a reading is NaN or infinite; allowed: numbers: leave that run out")
        return cls(parts=parts, appraisers=appraisers, values=values)
