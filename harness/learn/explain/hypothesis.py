"""One explanation of the gains: a code field with a law, bits with ratios of their own, and a base for the rest."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.learn.explain.code_field import CodeField
from harness.learn.explain.observed import Bits
from harness.learn.explain.shapes import Shape, fixed_part, regressors
from harness.learn.explain.terms import Term

Floats = npt.NDArray[np.float64]
Groups = npt.NDArray[np.int64]

MODEL_RATIO = 3e-4
"""What a good law leaves of a gain: codes of unequal size, settling, the source's own steps."""
MOST_IMPOSSIBLE = 0.05
"""Share of the gains that a law may leave out for want of a code that it can have."""
RANK = 1e-9
"""Directions weaker than this against the strongest are not determined."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sample:
    """The rows that a hypothesis must explain."""

    bits: Bits
    """Shape (n, b)."""
    logs: Floats
    """Shape (n,): ln gain, arithmetic taken out."""
    u_ratio: Floats
    """Shape (n,)."""
    base: Groups
    """Shape (n,): rows of the same number share whatever the word does not say: relays, the channel's own scale."""
    word: Groups
    """Shape (n,): number of the word, as far as it moves inside ranges: it deviates the same wherever it is used."""

    @property
    def words(self) -> int:
        """How many different ones."""
        return int(np.unique(self.word).size)

    @property
    def weights(self) -> Floats:
        """Shape (n,): 1 over the variance that is expected."""
        return np.asarray(1.0 / (self.u_ratio**2 + MODEL_RATIO**2), dtype=np.float64)

    def rows(self, mask: npt.NDArray[np.bool_]) -> Sample:
        """Some of the rows."""
        return Sample(
            bits=self.bits[mask], logs=self.logs[mask], u_ratio=self.u_ratio[mask], base=self.base[mask],
            word=self.word[mask],
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """What is claimed of the words."""

    shape: Shape
    field: CodeField
    free: tuple[int, ...]
    """Places of bits that have a ratio of their own."""
    terms: tuple[Term, ...] = ()
    """Corrections of the number's law."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """A hypothesis with its numbers."""

    hypothesis: Hypothesis
    base: dict[int, float]
    """ln gain that each group starts from."""
    centre: dict[int, tuple[float, Floats]]
    """Of each group: variance of its mean over that of one reading, and the mean of its columns, shape (f + p + t,)."""
    bit_logs: Floats
    """Shape (f,): ln of the ratio of each free bit."""
    shape_weights: Floats
    """Shape (p,): slope of ln gain for each code, or ln gain of each level over the first."""
    term_weights: Floats
    """Shape (t,): sizes of the corrections, in their order."""
    covariance: Floats
    """Shape (f + p + t, f + p + t), of bit_logs, shape_weights and term_weights."""
    levels: npt.NDArray[np.int64]
    """Distinct codes, for the table."""
    residuals: Floats
    """Shape (n,): ln measured minus ln explained."""
    parameters: int
    groups: int
    """Of the parameters, those that are bases."""
    words: int
    """See Sample."""
    determined: bool
    """Whether every weight could be told from the others."""

    @property
    def scatter_ratio(self) -> float:
        """Standard deviation that the residuals speak for, relative."""
        left = max(self.residuals.size - self.parameters, 1)
        return math.sqrt(float(self.residuals @ self.residuals) / left)

    @property
    def bic(self) -> float:
        """Bayesian information criterion over words, not over readings: less is better, and 10 less very strong."""
        count = max(self.words, 2)
        mean = float(self.residuals @ self.residuals) / self.residuals.size + (MODEL_RATIO / 30.0) ** 2
        own = self.parameters - self.groups
        return count * math.log(mean) + (own + self.groups / count) * math.log(count)

    def explain(self, bits: Bits, base: Groups) -> Floats:
        """ln gain of other rows, NaN where their group was never fitted.

        Args:
            bits: shape (n, b).
            base: shape (n,).
        Returns:
            shape (n,).
        Source:
            the fitted sum.
        """
        hypothesis = self.hypothesis
        codes = hypothesis.field.codes(bits)
        fixed = fixed_part(hypothesis.shape, codes)
        start = np.asarray([self.base.get(int(group), math.nan) for group in base])
        columns = columns_of(hypothesis, bits, self.levels)
        weights = np.concatenate((self.bit_logs, self.shape_weights, self.term_weights))
        return np.asarray(start + fixed + columns @ weights)

    def term_logs(self, bits: Bits) -> Floats:
        """What the corrections add to ln gain.

        Args:
            bits: shape (n, b).
        Returns:
            shape (n,).
        Source:
            the fitted sum.
        """
        count = self.term_weights.size
        columns = columns_of(self.hypothesis, bits, self.levels)
        return np.asarray(columns[:, columns.shape[1] - count :] @ self.term_weights)

    def spread_ratio(self, bits: Bits, base: Groups) -> Floats:
        """Standard uncertainty of an explained gain, relative: of the weights, of the base, and what the law leaves.

        Args:
            bits: shape (n, b).
            base: shape (n,).
        Returns:
            shape (n,), NaN where the group was never fitted.
        Source:
            variance of a prediction in linear regression with group means.
        """
        columns = columns_of(self.hypothesis, bits, self.levels)
        unknown = (math.nan, np.zeros(columns.shape[1]))
        found = [self.centre.get(int(group), unknown) for group in base]
        away = columns - np.asarray([mean for _, mean in found]).reshape(columns.shape)
        weights = np.einsum("ij,jk,ik->i", away, self.covariance, away)
        own = self.scatter_ratio**2 * (1.0 + np.asarray([share for share, _ in found]))
        return np.asarray(np.sqrt(np.maximum(weights, 0.0) + own), dtype=np.float64)


def columns_of(hypothesis: Hypothesis, bits: Bits, levels: npt.NDArray[np.int64]) -> Floats:
    """The columns of free bits, of the shape and of its corrections.

    Args:
        hypothesis: what is claimed.
        bits: shape (n, b).
        levels: distinct codes, for the table.
    Returns:
        shape (n, f + p + t).
    Source:
        the logarithm of a product of stages is a sum.
    """
    free = bits[:, list(hypothesis.free)].astype(np.float64)
    codes = hypothesis.field.codes(bits)
    terms = [term.columns(hypothesis.shape, codes) for term in hypothesis.terms]
    return np.hstack((free, regressors(hypothesis.shape, codes, levels), *terms))


def fit(hypothesis: Hypothesis, sample: Sample) -> Fitted | None:
    """The numbers of a hypothesis by weighted least squares.

    Args:
        hypothesis: what is claimed.
        sample: rows with gains.
    Returns:
        the fit; None where the shape cannot have one of the codes, or nothing is left to judge it by.
    Source:
        least squares with group means taken out (Frisch, Waugh 1933; from memory); weights are 1 over the variance.
    """
    codes = hypothesis.field.codes(sample.bits)
    fixed = fixed_part(hypothesis.shape, codes)
    possible = np.isfinite(fixed)
    if not possible.all():
        # Code 0 has no gain by most laws; what leaks through there must not forbid the law.
        few = np.count_nonzero(~possible) <= MOST_IMPOSSIBLE * possible.size
        return fit(hypothesis, sample.rows(possible)) if few else None
    levels = np.unique(codes)
    columns = columns_of(hypothesis, sample.bits, levels)
    groups, inverse = np.unique(sample.base, return_inverse=True)
    parameters = groups.size + columns.shape[1]
    if sample.logs.size <= parameters:
        return None
    weights = sample.weights
    wanted = sample.logs - fixed
    total = np.bincount(inverse, weights)
    wanted_mean = np.bincount(inverse, weights * wanted) / total
    means = [np.bincount(inverse, weights * column) / total for column in columns.T]
    column_mean = np.stack(means, axis=1) if means else np.zeros((groups.size, 0))
    root = np.sqrt(weights)[:, None]
    left, right = (columns - column_mean[inverse]) * root, (wanted - wanted_mean[inverse]) * root[:, 0]
    solution, covariance, determined = _solve(left, right)
    base = wanted_mean - column_mean @ solution
    residuals = wanted - columns @ solution - base[inverse]
    spread = float(weights @ residuals**2) / max(residuals.size - parameters, 1)
    first, of_shape = len(hypothesis.free), regressors(hypothesis.shape, codes[:1], levels).shape[1]
    return Fitted(
        hypothesis=hypothesis,
        base={int(group): float(value) for group, value in zip(groups, base, strict=True)},
        centre={
            int(group): (float(weights.mean() / sum_), mean)
            for group, sum_, mean in zip(groups, total, column_mean, strict=True)
        },
        bit_logs=solution[: len(hypothesis.free)],
        shape_weights=solution[first : first + of_shape],
        term_weights=solution[first + of_shape :],
        covariance=covariance * spread,
        levels=levels,
        residuals=residuals,
        parameters=parameters,
        groups=groups.size,
        words=sample.words,
        determined=determined,
    )


def _solve(left: Floats, right: Floats) -> tuple[Floats, Floats, bool]:
    """By the eigenvalues of the normal equations: there are few columns, and rows by the hundred."""
    count = left.shape[1]
    if count == 0:
        return np.zeros(0), np.zeros((0, 0)), True
    scale = np.sqrt((left**2).sum(axis=0))
    known = scale > 0.0
    scale = np.where(known, scale, 1.0)
    scaled = left / scale
    values, vectors = np.linalg.eigh(scaled.T @ scaled)
    keep = values > RANK * max(float(values[-1]), 1e-300)
    inverse = np.where(keep, 1.0 / np.where(keep, values, 1.0), 0.0)
    solution = (vectors * inverse) @ (vectors.T @ (scaled.T @ right)) / scale
    covariance = (vectors * inverse) @ vectors.T / np.outer(scale, scale)
    return solution, covariance, bool(keep.all() and known.all())
