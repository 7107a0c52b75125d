"""The histogram of a record in bins that hold enough samples each; counts of steps summed up to the bins' edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.judge.waveform.lattice import expected_hits

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

LEAST_COUNT = 20.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bins:
    """The bins of one record."""

    edges: Floats
    """Shape (m + 1,): between steps, the ends open."""
    counts: Floats
    """Shape (m,): samples in each."""
    expected: Floats
    """Shape (m,): samples of the fitted sine with its noise."""


def bins_of(first: int, counts: npt.NDArray[np.integer], mean: Floats, grid: float, noise_steps: float) -> Bins:
    """The bins of a record.

    Args:
        first: its lowest step.
        counts: how often it and each step above it was delivered.
        mean: shape (n,), the fitted sine, delivered units.
        grid: spacing of the values, delivered units, > 0.
        noise_steps: Gaussian noise before the rounding, rms steps.
    Returns:
        edges, counts and expectation.
    Source:
        counting.
    """
    edges = _edges(first, counts)
    return Bins(
        edges=edges,
        counts=counted_in(edges, first, counts),
        expected=expected_in(edges, mean, grid, noise_steps, ratio=1.0),
    )


def counted_in(edges: Floats, first: int, counts: npt.ArrayLike) -> Floats:
    """How many lie in each bin.

    Args:
        edges: shape (m + 1,), half way between steps, rising, the ends infinite.
        first: the lowest step.
        counts: shape (k,), how many lie at it and at each step above it.
    Returns:
        shape (m,).
    Source:
        differences of the running sum.
    """
    running = np.concatenate(([0.0], np.cumsum(np.asarray(counts, dtype=np.float64))))
    below = np.floor(edges[1:-1]).astype(np.int64) - first + 1
    places = np.concatenate(([0], np.clip(below, 0, running.size - 1), [running.size - 1]))
    return np.diff(running[places])


def expected_in(edges: Floats, mean: Floats, grid: float, noise_steps: float, *, ratio: float) -> Floats:
    """How many samples of a sine with noise lie in each bin.

    Args:
        edges: as counted_in.
        mean: shape (n,), the sine, delivered units.
        grid: spacing of the values, delivered units, > 0.
        noise_steps: Gaussian noise before the rounding, rms steps.
        ratio: by which the sine is stretched, > 0, and its noise where it is above 1.
    Returns:
        shape (m,).
    Source:
        see expected_hits.
    """
    first, hits = expected_hits(ratio * mean / grid, max(ratio, 1.0) * noise_steps)
    return counted_in(edges, first, hits)


def _edges(first: int, counts: npt.NDArray[np.integer]) -> Floats:
    """Edges between steps such that each bin holds enough samples; the ends are open."""
    places = np.flatnonzero(counts)
    edges, held = [-np.inf], 0.0
    for place, count in zip(places[:-1].tolist(), counts[places[:-1]].tolist(), strict=True):
        held += count
        if held >= LEAST_COUNT:
            edges.append(first + place + 0.5)
            held = 0.0
    return np.array([*edges, np.inf])
