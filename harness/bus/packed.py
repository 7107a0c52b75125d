"""Packed logic samples, one byte a sample, to pieces of a capture."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from harness.bus.piece import NO_LEVELS, NO_TICKS, Piece
from harness.errors import CaptureError

Samples = npt.NDArray[np.uint8]

BLOCK = 1 << 20


class PackedReader:
    """Takes samples chunk by chunk; bit k of a sample is line k. A tick is a sample."""

    def __init__(self, rate_hz: float) -> None:
        if not 0.0 < rate_hz < 1e12:
            raise CaptureError(f"packed samples: rate {rate_hz!r} Hz; allowed is a number above 0 and below 1e12")
        self.tick_ns = 1e9 / rate_hz
        self.initial: int | None = None
        """Levels at the first sample; None before it."""
        self.samples = 0
        """Samples taken so far."""
        self._last = np.uint8(0)

    def take(self, samples: Samples | bytes) -> Piece:
        """The events of some more samples.

        Args:
            samples: shape (n,), or as bytes; a chunk of some millions makes the work done once a chunk small.
        Returns:
            the samples that differ from the one before.
        Source:
            none: comparison.
        """
        if isinstance(samples, bytes):
            samples = np.frombuffer(samples, dtype=np.uint8)
        if samples.size == 0:
            return Piece(ticks=NO_TICKS, levels=NO_LEVELS, known_to=max(self.samples - 1, 0), distinct=True)
        if self.initial is None:
            self.initial, self._last = int(samples[0]), samples[0]
        places = _changes(samples)
        if samples[0] != self._last:
            places = np.append(0, places)
        levels = samples[places]
        places += self.samples
        self._last = samples[-1]
        self.samples += samples.size
        return Piece(ticks=places, levels=levels, known_to=self.samples - 1, distinct=True)


def _changes(samples: Samples) -> npt.NDArray[np.intp]:
    """Places of the samples that differ from the one before, block by block so that the comparison stays in cache."""
    found = []
    for start in range(1, samples.size, BLOCK):
        end = min(start + BLOCK, samples.size)
        places = (samples[start:end] != samples[start - 1 : end - 1]).nonzero()[0]
        places += start
        found.append(places)
    return np.concatenate(found) if found else np.zeros(0, dtype=np.intp)
