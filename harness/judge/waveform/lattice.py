"""Which codes arithmetic can reach, which a sine visits, and what spacing the visited ones betray."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from harness.values import SineFit

if TYPE_CHECKING:
    from harness.judge.waveform.record import Seen

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

LEAST_NOISE_STEPS = 0.15
"""Noise below it is rounded up: harmonics of the converter scatter the samples at least so much."""
WIDE_NOISE_STEPS = 4.0
"""From here on a histogram smeared by the noise is as exact as sample by sample."""
FRACTIONS = 256
"""Parts of a step at which the chance of each neighbour is worked out."""
NOISE_PARTS = 500
"""Parts of a step to which the noise is rounded: records of a ladder share few tables then."""
SETTLED_RATIO = 0.25
"""Of the standard uncertainty: a change of the spacing below it is not followed further."""
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
    first, hits = expected_hits(mean_steps, noise_steps)
    return Visits(first=first, hits=hits, empty=chance_of_none(mean_steps, noise_steps)[1])


def expected_hits(mean_steps: Floats, noise_steps: float) -> tuple[int, Floats]:
    """How many samples each step should get if every step can be visited.

    Args:
        mean_steps: as visits.
        noise_steps: as visits.
    Returns:
        the lowest step, and the samples expected in it and in each above it.
    Source:
        see visits.
    """
    nearest, first, size, margin = _extent(mean_steps, noise_steps)
    if noise_steps > WIDE_NOISE_STEPS:
        kernel = np.exp(-0.5 * (np.arange(-margin, margin + 1) / noise_steps) ** 2)
        spread = np.convolve(np.bincount(nearest - first, minlength=size), kernel / kernel.sum(), mode="same")
        return first, spread
    return first, _gathered(mean_steps, nearest, _shares(noise_steps, margin)[0], first=first, size=size)


def chance_of_none(mean_steps: Floats, noise_steps: float) -> tuple[int, Floats]:
    """How likely each step gets no sample though every step can be visited.

    Args:
        mean_steps: as visits.
        noise_steps: as visits.
    Returns:
        the lowest step, and the probability of it and of each above it.
    Source:
        see visits.
    """
    if noise_steps > WIDE_NOISE_STEPS:
        first, hits = expected_hits(mean_steps, noise_steps)
        return first, np.exp(-hits)
    nearest, first, size, margin = _extent(mean_steps, noise_steps)
    table = _shares(noise_steps, margin)[1]
    return first, np.exp(_gathered(mean_steps, nearest, table, first=first, size=size))


def _extent(mean_steps: Floats, noise_steps: float) -> tuple[Integers, int, int, int]:
    """Nearest steps, the lowest step in reach, how many are, and how far noise reaches."""
    margin = math.ceil(4.0 * max(noise_steps, LEAST_NOISE_STEPS)) + 1
    nearest = np.rint(mean_steps).astype(np.int64)
    first = int(nearest.min()) - margin
    return nearest, first, int(nearest.max()) + margin - first + 1, margin


def _shares(noise_steps: float, margin: int) -> tuple[Floats, Floats]:
    """Probability of each neighbour, for samples at each of the fractions between two steps; and ln(1 - it).

    Samples differ by where between two steps they lie; so fine a table of it is as good as each for itself.
    """
    return _table(round(max(noise_steps, LEAST_NOISE_STEPS) * NOISE_PARTS), margin)


@lru_cache(maxsize=1024)
def _table(noise_parts: int, margin: int) -> tuple[Floats, Floats]:
    from scipy.special import ndtr

    offsets = np.arange(-margin, margin + 2) - 0.5
    fractions = (np.arange(FRACTIONS + 1) / FRACTIONS - 0.5)[:, np.newaxis]
    shares = np.asarray(np.diff(ndtr((offsets - fractions) * (NOISE_PARTS / noise_parts)), axis=1), dtype=np.float64)
    return shares, np.log1p(-np.minimum(shares, 1.0 - 1e-12))


def _gathered(mean_steps: Floats, nearest: Integers, table: Floats, *, first: int, size: int) -> Floats:
    """The table's values of all samples, summed by step."""
    part = np.rint((mean_steps - nearest + 0.5) * FRACTIONS).astype(np.intp)
    reach_steps = table.shape[1]
    places = ((nearest - (reach_steps // 2 + first))[:, np.newaxis] + np.arange(reach_steps)).ravel()
    return np.bincount(places, weights=table[part].ravel(), minlength=size).astype(np.float64, copy=False)


def inner(fit: SineFit, spacing: float) -> tuple[int, int]:
    """Between which steps a record should visit everything, away from the noisy edges.

    Args:
        fit: of the record.
        spacing: of a step, delivered units, > 0.
    Returns:
        lowest and highest step; the highest is below the lowest when nothing is left.
    Source:
        common practice, no source.
    """
    half = INNER_RATIO * (fit.amplitude_code - EDGE_NOISES * fit.noise_code) / spacing - 1.0
    middle = fit.offset_code / spacing
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
    return seen.spacing


def find_spacing(steps: Integers, mean: Floats, fit: SineFit, grid: float) -> Spacing | None:
    """As spacing_of, from the parts of a record.

    Args:
        steps: shape (n,), the values in grid steps.
        mean: shape (n,), the fitted sine, delivered units.
        fit: of the record, delivered units.
        grid: spacing of the values in delivered units, > 0.
    Returns:
        the spacing; None as in spacing_of.
    Source:
        see spacing_of.
    """
    low, high = inner(fit, grid)
    places = high - low + 1
    if places < 16:
        return None
    distinct = np.flatnonzero(np.bincount(steps - int(steps.min()))) + int(steps.min())
    used = int(np.count_nonzero((distinct >= low) & (distinct <= high)))
    tried: list[tuple[float, float]] = []
    factor, chance = 1.0, 0.0
    for _ in range(6):
        chance = _chance(mean, fit, factor * grid)
        tried.append((factor, max(1.0 - chance, 1e-3) * places / max(used, 1)))
        factor, before = _next(tried, chance), factor
        if abs(factor / before - 1.0) < SETTLED_RATIO * _scatter(chance, places / factor, places):
            break
    if chance > 0.5 or used < 16:
        return None
    # Uneven codes are missed more often than even ones, by about a tenth for ±0.3 of a code.
    u_ratio = math.hypot(_scatter(chance, places / factor, places), 0.1 * chance)
    return Spacing(units=factor * grid, u_ratio=u_ratio, chance_ratio=chance)


def _next(tried: list[tuple[float, float]], chance: float) -> float:
    """Where a factor would come back to itself: by the straight line through the last two trials.

    A single one has the slope of hits by chance alone: a share c = exp(-λ·x) of the places stays empty.
    """
    (x, y), (x_before, y_before) = tried[-1], tried[max(len(tried) - 2, 0)]
    empty = min(max(chance, 1e-9), 0.9)
    slope = (y - y_before) / (x - x_before) if x != x_before else -empty * math.log(empty) / (1.0 - empty)
    return y + slope * (y - x) / (1.0 - slope) if abs(slope) < 0.9 else y


def _scatter(chance: float, count: float, places: int) -> float:
    return math.sqrt(chance * (1.0 - chance) / count) / (1.0 - min(chance, 0.99)) + 1.0 / places


def _chance(mean: Floats, fit: SineFit, step: float) -> float:
    """Share of inner places left empty by chance if values lie `step` delivered units apart."""
    noise = math.sqrt(max((fit.noise_code / step) ** 2 - 1.0 / 12.0, 0.0))
    first, empty = chance_of_none(mean / step, noise)
    low, high = inner(fit, step)
    inside = empty[max(low - first, 0) : max(high - first + 1, 0)]
    return float(inside.mean()) if inside.size else 1.0
