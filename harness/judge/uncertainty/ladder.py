"""The budgets of a whole ladder at once: contributions that differ from reading to reading as arrays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.errors import MeasureError
from harness.judge.uncertainty.budget import Budget
from harness.judge.uncertainty.checked import Floats, checked, checked_dof, same_length
from harness.judge.uncertainty.combine import combined, coverage_factor, effective_dof
from harness.judge.uncertainty.contribution import Contribution
from harness.judge.uncertainty.shape import Shape, standard_ratio

Groups = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """One cause of doubt over all readings of a ladder, percent of gain; arrays are made read-only."""

    name: str
    values_percent: Floats
    """Shape (n,), as Contribution.value_percent."""
    shape: Shape
    dof: float | Floats = math.inf
    """One number, or shape (n,)."""
    groups: Groups | None = None
    """Shape (n,): readings of the same number share one error, such as a range of the source; None: each its own."""
    beta_ratio: float = 0.0

    def __post_init__(self) -> None:
        where = f"contribution {self.name!r}"
        arrays = {"values_percent": checked(where, "values_percent", self.values_percent, least=0.0)}
        if isinstance(self.dof, np.ndarray):
            arrays["dof"] = self.dof
        if self.groups is not None:
            arrays["groups"] = self.groups  # type: ignore[assignment]  # only its shape is asked for
        same_length(where, **arrays)
        checked_dof(where, self.dof)
        checked(where, "beta_ratio", self.beta_ratio, least=0.0, most=1.0)
        for array in (self.values_percent, self.dof, self.groups):
            if isinstance(array, np.ndarray):
                array.setflags(write=False)

    @property
    def standard_percent(self) -> Floats:
        """Standard uncertainty of each reading, shape (n,)."""
        return self.values_percent * standard_ratio(self.shape, beta_ratio=self.beta_ratio)

    def at(self, index: int) -> Contribution:
        """The contribution to one reading."""
        return Contribution(
            name=self.name,
            value_percent=float(self.values_percent[index]),
            shape=self.shape,
            dof=float(self.dof[index]) if isinstance(self.dof, np.ndarray) else self.dof,
            beta_ratio=self.beta_ratio,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Combined:
    """Standard uncertainties with their degrees of freedom."""

    standard_percent: Floats
    """Shape (n,)."""
    dof: Floats
    """Shape (n,)."""

    def expanded_percent(self, *, probability_ratio: float | None = None, whole_dof: bool = False) -> Floats:
        """Expanded uncertainties, shape (n,): k = 2, or Student's for a probability."""
        factor = coverage_factor(self.dof, probability_ratio=probability_ratio, whole_dof=whole_dof)
        return factor * self.standard_percent


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LadderBudget:
    """The budgets of n readings."""

    fixed: tuple[Contribution, ...]
    """The same size for every reading; common or, like repeatability, of each reading for itself."""
    series: tuple[Series, ...]
    """Of different size from reading to reading; at least one."""

    def __post_init__(self) -> None:
        if not self.series:
            raise MeasureError("ladder budget: no series; allowed is at least one, such as the fit noise")
        same_length("ladder budget", **{s.name: s.values_percent for s in self.series})

    @property
    def size(self) -> int:
        """Number of readings n."""
        return int(self.series[0].values_percent.size)

    def absolute(self) -> Combined:
        """Of each gain by itself, shape (n,)."""
        every = np.arange(self.size)
        return self._combined([self._fixed(c, every) for c in self.fixed], every)

    def independent(self) -> Combined:
        """Of each gain against a law fitted to all of them, shape (n,): common parts cancel."""
        every = np.arange(self.size)
        return self._combined([self._fixed(c, every) for c in self.fixed if not c.common], every)

    def steps(self, lower: Sequence[int] | Groups, upper: Sequence[int] | Groups) -> Combined:
        """Of the steps between pairs of readings, by index, shape (m,): what both share cancels."""
        low, high = np.asarray(lower, dtype=np.int64), np.asarray(upper, dtype=np.int64)
        pairs = same_length("steps", lower=low.astype(np.float64), upper=high.astype(np.float64))
        checked("steps", "an index", np.concatenate((low, high)), least=0, most=self.size - 1)
        parts: list[tuple[Floats, Floats]] = []
        for c in self.fixed:
            if not c.common:
                parts.append((np.full(pairs, math.sqrt(2.0) * c.standard_percent), np.full(pairs, c.dof)))
        for s in self.series:
            first, second = s.standard_percent[low], s.standard_percent[high]
            shared = np.zeros(pairs, dtype=bool) if s.groups is None else s.groups[low] == s.groups[high]
            size = np.where(shared, np.abs(first - second), np.hypot(first, second))
            if isinstance(s.dof, np.ndarray):
                freedom = np.stack((s.dof[low], s.dof[high]))
                pair = effective_dof(np.stack((first, second)), freedom)
                parts.append((size, np.where(shared, freedom.min(axis=0), pair)))
            else:
                # One number stands for one pooled estimate: two readings do not make it better known.
                parts.append((size, np.full(pairs, s.dof)))
        return _total(parts)

    def contrasts(self, weights: Floats, places: Sequence[int] | Groups | None = None) -> Combined:
        """Of weighted sums of readings, shape (m,): u² = a·V·aᵀ, so that what readings share counts as shared.

        Args:
            weights: shape (m, k), one row for each sum; 1 and -1 is a step, a row of a fit's sensitivity a parameter.
            places: shape (k,), indices of the readings; None for all of them.
        """
        at = np.arange(self.size) if places is None else np.asarray(places, dtype=np.int64)
        rows = checked("contrasts", "a weight", weights)
        checked("contrasts", "an index", at, least=0, most=self.size - 1)
        if rows.ndim != 2 or rows.shape[1] != at.size:
            raise MeasureError(f"contrasts: weights of shape {rows.shape}; allowed is (m, {at.size}), one a reading")
        variance, doubt = np.zeros(rows.shape[0]), np.zeros(rows.shape[0])
        for c in self.fixed:
            part = rows.sum(axis=1) ** 2 if c.common else np.sum(rows**2, axis=1)
            part = part * c.standard_percent**2
            variance, doubt = variance + part, doubt + part**2 / c.dof
        for s in self.series:
            parts = rows * s.standard_percent[at]
            known = s.dof[at] if isinstance(s.dof, np.ndarray) else np.full(at.size, float(s.dof))
            if s.groups is not None:
                member = s.groups[at][:, np.newaxis] == np.unique(s.groups[at])
                parts = parts @ member
                known = np.min(np.where(member, known[:, np.newaxis], np.inf), axis=0)
            # Equal degrees of freedom stand for one pooled estimate: several readings do not make it better known.
            free = np.unique(known)
            pooled = parts**2 @ (known[:, np.newaxis] == free)
            variance, doubt = variance + pooled.sum(axis=1), doubt + np.sum(pooled**2 / free, axis=1)
        dof = np.where(doubt > 0.0, variance**2 / np.where(doubt > 0.0, doubt, 1.0), np.inf)
        return Combined(standard_percent=np.sqrt(variance), dof=np.maximum(dof, 1.0))

    def shared(self, places: Sequence[int] | Groups) -> tuple[float, Floats]:
        """What readings have in common: with all, percent; with some, a row for each such error, shape (j, k)."""
        at = np.asarray(places, dtype=np.int64)
        common = float(combined([c.standard_percent for c in self.fixed if c.common]))
        rows = [
            np.where(s.groups[at] == group, s.standard_percent[at], 0.0)
            for s in self.series
            if s.groups is not None
            for group in np.unique(s.groups[at])
        ]
        return common, np.array(rows, dtype=np.float64).reshape(len(rows), at.size)

    def at(self, index: int) -> Budget:
        """The budget of one reading, for print."""
        return Budget(contributions=(*self.fixed, *(s.at(index) for s in self.series)))

    def worst(self, indices: Sequence[int]) -> int:
        """Which of some readings has the largest combined uncertainty: its budget stands for the group."""
        within = checked("worst of a group", "an index", list(indices), least=0, most=self.size - 1).astype(np.int64)
        if within.size == 0:
            raise MeasureError("worst of a group: no reading; allowed is at least one")
        return int(within[np.argmax(self.absolute().standard_percent[within])])

    def _fixed(self, contribution: Contribution, at: Groups) -> tuple[Floats, Floats]:
        return np.full(at.size, contribution.standard_percent), np.full(at.size, contribution.dof)

    def _combined(self, fixed: list[tuple[Floats, Floats]], at: Groups) -> Combined:
        own = [(s.standard_percent, np.broadcast_to(np.asarray(s.dof), at.shape)) for s in self.series]
        return _total([*fixed, *own])


def _total(parts: list[tuple[Floats, Floats]]) -> Combined:
    standard = np.stack([part[0] for part in parts])
    return Combined(
        standard_percent=combined(standard), dof=effective_dof(standard, np.stack([part[1] for part in parts]))
    )
