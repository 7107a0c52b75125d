"""Which codes arithmetic can reach, which a sine visits, and what spacing the visited ones betray."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from harness.judge.waveform.record import Floats, Integers, Seen

LEAST_NOISE_STEPS = 0.15
"""Noise below it is rounded up: harmonics of the converter scatter the samples at least so much."""
WIDE_NOISE_STEPS = 4.0
"""From here on a histogram smeared by the noise is as exact as sample by sample."""
EDGE_NOISES = 3.0
INNER_RATIO = 0.98

Rounding = Callable[[Floats], Floats]
ROUNDINGS: tuple[tuple[str, Rounding], ...] = (
    ("half to even", np.rint),
    ("half up", lambda x: np.floor(x + 0.5)),
    ("half down", lambda x: np.ceil(x - 0.5)),
    ("half away from zero", lambda x: np.copysign(np.floor(np.abs(x) + 0.5), x)),
    ("down", np.floor),
    ("towards zero", np.trunc),
)
"""How firmware may bring a product back to a whole code."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Visits:
    """How often a sine with noise visits each step; arrays of shape (m,) from step `first` on."""

    first: int
    hits: Floats
    """Expected number of samples."""
    empty: Floats
    """Probability that there is none."""


def reach(ratio: float, rounding: Rounding, *, low: int, high: int, origin: int = 0) -> Integers:
    """How many converter codes arithmetic maps to each code.

    Args:
        ratio: magnification, > 0.
        rounding: of a product to a whole number.
        low: lowest code asked for.
        high: highest code asked for, >= low.
        origin: code that magnification leaves in place.
    Returns:
        shape (high - low + 1,): number of codes j with rounding(ratio·(j - origin)) + origin equal to each code.
    Source:
        direct enumeration; 1 - 1/ratio of the codes stay empty for ratio > 1.
    """
    first, last = math.floor((low - 2 - origin) / ratio) - 2, math.ceil((high + 2 - origin) / ratio) + 2
    reached = rounding(ratio * np.arange(first, last + 1, dtype=np.float64)).astype(np.int64) + origin
    inside = reached[(reached >= low) & (reached <= high)] - low
    return np.bincount(inside, minlength=high - low + 1)


def gap_share(ratio: float) -> float:
    """Which share of the inner codes integer arithmetic leaves empty.

    Args:
        ratio: magnification, > 0.
    Returns:
        1 - 1/ratio for ratio > 1, else 0.
    Source:
        counting: n codes spread over n·ratio places.
    """
    return max(0.0, 1.0 - 1.0 / ratio)


def double_share(ratio: float) -> float:
    """Which share of the codes integer reduction fills twice.

    Args:
        ratio: reduction, 0.5 < ratio <= 1.
    Returns:
        (1 - ratio)/ratio.
    Source:
        counting: n codes squeezed into n·ratio places.
    """
    return (1.0 - ratio) / ratio


def visits(mean_steps: Floats, noise_steps: float) -> Visits:
    """How often each step should be visited if every step can be.

    Args:
        mean_steps: shape (n,), the sine at each sample, steps.
        noise_steps: Gaussian noise before the rounding, rms steps, >= 0.
    Returns:
        expected hits and chance of none, for each step.
    Source:
        product of the samples' own probabilities; derived in tests/judge_waveform/test_lattice.py.
    """
    noise = max(noise_steps, LEAST_NOISE_STEPS)
    margin = math.ceil(4.0 * noise) + 1
    nearest = np.rint(mean_steps).astype(np.int64)
    first = int(nearest.min()) - margin
    size = int(nearest.max()) + margin - first + 1
    if noise > WIDE_NOISE_STEPS:
        kernel = np.exp(-0.5 * (np.arange(-margin, margin + 1) / noise) ** 2)
        spread = np.convolve(np.bincount(nearest - first, minlength=size), kernel / kernel.sum(), mode="same")
        return Visits(first=first, hits=spread, empty=np.exp(-spread))
    from scipy.special import ndtr

    hits, log_empty = np.zeros(size), np.zeros(size)
    below = ndtr((nearest - margin - 0.5 - mean_steps) / noise)
    for offset in range(-margin, margin + 1):
        above = ndtr((nearest + offset + 0.5 - mean_steps) / noise)
        share = above - below
        hits += np.bincount(nearest + offset - first, weights=share, minlength=size)
        log_empty += np.bincount(
            nearest + offset - first, weights=np.log1p(-np.minimum(share, 1.0 - 1e-12)), minlength=size
        )
        below = above
    return Visits(first=first, hits=hits, empty=np.exp(log_empty))


def inner(seen: Seen, spacing: float) -> tuple[int, int]:
    """Between which steps a record should visit everything, away from the noisy edges.

    Args:
        seen: the record.
        spacing: of a step, delivered units, > 0.
    Returns:
        lowest and highest step; the highest is below the lowest when nothing is left.
    Source:
        common practice, no source.
    """
    half = INNER_RATIO * (seen.fit.amplitude_code - EDGE_NOISES * seen.fit.noise_code) / spacing - 1.0
    middle = seen.fit.offset_code / spacing
    return math.ceil(middle - half), math.floor(middle + half)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spacing:
    """Mean distance of the values that a record can take, chance gaps allowed for."""

    units: float
    """Delivered units."""
    u_ratio: float
    """Standard uncertainty, relative."""
    chance_ratio: float
    """Share of the places that chance leaves empty."""


def spacing_of(seen: Seen) -> Spacing | None:
    """How far apart the values lie that a record can take.

    The distinct values inside the record are counted; values missed by chance are computed from the fitted sine and its
    noise and added.

    Args:
        seen: a record with a grid.
    Returns:
        the spacing; None when the record has no grid, fewer than 16 inner steps, or visits too few to tell.
    Source:
        counting; derived in tests/judge_waveform/test_lattice.py.
    """
    if seen.steps is None:
        return None
    low, high = inner(seen, seen.grid)
    places = high - low + 1
    if places < 16:
        return None
    distinct = np.unique(seen.steps)
    used = int(np.count_nonzero((distinct >= low) & (distinct <= high)))
    factor, chance = 1.0, 0.0
    for _ in range(5):
        chance = _chance(seen, factor)
        factor, before = max(1.0 - chance, 1e-3) * places / max(used, 1), factor
        if abs(factor / before - 1.0) < 3e-4:
            break
    if chance > 0.5 or used < 16:
        return None
    count = places / factor
    scatter = math.sqrt(chance * (1.0 - chance) / count) / (1.0 - chance) + 1.0 / places
    # Uneven codes are missed more often than even ones, by about a tenth for ±0.3 of a code.
    return Spacing(units=factor * seen.grid, u_ratio=math.hypot(scatter, 0.1 * chance), chance_ratio=chance)


def _chance(seen: Seen, factor: float) -> float:
    """Share of inner places left empty by chance if values lie `factor` grid steps apart."""
    step = factor * seen.grid
    noise = math.sqrt(max((seen.fit.noise_code / step) ** 2 - 1.0 / 12.0, 0.0))
    expected = visits(seen.mean / step, noise)
    low, high = inner(seen, step)
    inside = expected.empty[max(low - expected.first, 0) : max(high - expected.first + 1, 0)]
    return float(inside.mean()) if inside.size else 1.0
