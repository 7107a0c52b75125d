"""A steady level read by a converter: its mean, its noise, and what rounding can hide, with and without dither."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from harness.amplitude.flags import QUIET_CODE
from harness.amplitude.levels import LEAST_SAMPLES
from harness.amplitude.rounding import dc_bias_code
from harness.amplitude.sine import Floats, Samples, checked_samples
from harness.errors import FitFailed, NotFinite

LOUD_VARIANCE = 0.5
"""Code steps squared. From here on the variance of rounded noise is its own plus 1/12 within 0.5 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """What the records of one steady level say, one record for each position of its dither."""

    mean_code: float
    """Mean of the means."""
    u_code: float
    """Standard uncertainty of it by the scatter within the records."""
    noise_code: float
    """Before rounding, of the quietest record."""
    positions: int
    """Records of the level; 1 without dither."""

    def bias_code(self, offsets_code: Floats) -> float:
        """How far rounding can have moved the mean, at most.

        Args:
            offsets_code: shape (positions,): the level of each record, code steps from any origin.
        Returns:
            code steps. On the noise of a quiet record nothing is built, for it is known as an upper bound only.
        Raises:
            NotFinite: an offset is not finite.
            FitFailed: another number of levels than of records.
        Source:
            dithered_bias_code.
        """
        if np.size(offsets_code) != self.positions:
            raise FitFailed(
                f"steady level: {np.size(offsets_code)} levels for {self.positions} records; allowed is one for each"
            )
        loud = self.noise_code >= QUIET_CODE
        return dithered_bias_code(offsets_code, noise_code=self.noise_code if loud else 0.0)


def dithered_bias_code(offsets_code: Floats, *, noise_code: float = 0.0) -> float:
    """How far the mean over the positions of a dither can lie from the mean of its levels.

    Args:
        offsets_code: shape (m,), m >= 1, the levels as they were put out, code steps, from any origin; one alone is no
            dither.
        noise_code: noise before the rounding, rms code steps, >= 0.
    Returns:
        largest bias over all levels, code steps: 1/(2m) without noise where the positions are spread evenly over one
        code, and as much more as the worst of them is off.
    Raises:
        NotFinite: an offset is not finite, or the noise is not finite or negative.
        FitFailed: no offset.
    Source:
        of a converter's series (dc_bias_code) the mean over m even positions leaves every m-th term: a converter of
        m times finer steps. Rounding never falls as the level rises, so that positions off by d at most move the mean
        as an even dither moved by d would: by d more. Derived in tests/amplitude/test_steady.py.
    """
    offsets = checked_samples(np.atleast_1d(np.asarray(offsets_code, dtype=np.float64)))
    count = offsets.size
    if count == 0:
        raise FitFailed("dither: no position; allowed is one or more")
    if not (math.isfinite(noise_code) and noise_code >= 0.0):
        raise NotFinite(f"dither: noise_code is {noise_code!r}; allowed is a finite number, not negative")
    even = (np.arange(count) + 0.5) / count - 0.5
    uneven_code = float(np.abs(np.sort(offsets) - offsets.mean() - even).max())
    return dc_bias_code(count * noise_code) / count + uneven_code


def steady_noise_code(codes: Samples) -> float:
    """How much noise a steady level has before it is rounded.

    The rms of the codes does not say: a quiet level in the middle of a code shows none, one between two codes half a
    step. So the share of samples below each side of the fullest code is taken; what never happens counts as half a
    sample, which makes the noise of a very quiet record an upper bound.

    Args:
        codes: shape (n,), n >= 8, one record of a steady level.
    Returns:
        rms, code steps, > 0.
    Raises:
        NotFinite: a sample is NaN, infinite or an instrument's 9.9E37.
        FitFailed: not one dimension or fewer than 8 samples.
    Source:
        probits of a Gaussian's distribution function; Sheppard's correction (variance less 1/12) where it is loud.
    """
    if codes.ndim != 1 or codes.shape[0] < LEAST_SAMPLES:
        raise FitFailed(
            f"steady level: the record has shape {codes.shape}; allowed is one record of {LEAST_SAMPLES} samples on"
        )
    samples = checked_samples(codes)
    variance = float(samples.var(ddof=1))
    if variance >= LOUD_VARIANCE:
        return math.sqrt(variance - 1.0 / 12.0)
    values, counts = np.unique(samples, return_counts=True)
    fullest = float(values[int(counts.argmax())])
    least = 0.5 / samples.size
    below, upto = float(np.mean(samples < fullest)), float(np.mean(samples <= fullest))
    normal = NormalDist()
    return 1.0 / (normal.inv_cdf(min(upto, 1.0 - least)) - normal.inv_cdf(max(below, least)))


def is_quiet(codes: Samples) -> bool:
    """Whether averaging a steady level's record cannot be trusted, for its noise is below 0.3 code steps.

    Args:
        codes: as of steady_noise_code.
    Returns:
        whether to dither.
    Raises:
        NotFinite, FitFailed: as of steady_noise_code.
    Source:
        common practice, 0.3 LSB; its bias is 0.054 code steps (tests/published).
    """
    return steady_noise_code(codes) < QUIET_CODE


def steady(codes: Samples, *, positions: int) -> Steady:
    """What the records of one steady level say together.

    Args:
        codes: shape (positions·n,), n >= 8: records of n samples each, one after another.
        positions: of the dither, >= 1; 1 without.
    Returns:
        mean, its uncertainty, and noise.
    Raises:
        NotFinite: a sample is NaN, infinite or an instrument's 9.9E37.
        FitFailed: the samples are no whole number of such records.
    Source:
        steady_noise_code; standard uncertainty of a mean: JCGM 100:2008, 4.2.3.
    """
    whole = codes.ndim == 1 and positions >= 1 and codes.shape[0] % positions == 0
    if not whole or codes.shape[0] // positions < LEAST_SAMPLES:
        raise FitFailed(
            f"steady level: samples of shape {codes.shape} for {positions} positions; allowed is one record of as many "
            f"samples, {LEAST_SAMPLES} or more, for each"
        )
    records = checked_samples(codes).reshape(positions, -1)
    variances = records.var(axis=1, ddof=1) / records.shape[1]
    return Steady(
        mean_code=float(records.mean()),
        u_code=math.sqrt(float(variances.sum())) / positions,
        noise_code=min(steady_noise_code(record) for record in records),
        positions=positions,
    )
