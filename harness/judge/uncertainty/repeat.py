"""Scatter that was seen: repeatability from the ways up and down, means of groups, simultaneous observations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.errors import MeasureError
from harness.judge.uncertainty.checked import Floats, checked, same_length
from harness.judge.uncertainty.contribution import Contribution
from harness.judge.uncertainty.shape import Shape


def repeatability(up_down_percent: Floats, *, readings: int = 2) -> Contribution:
    """How well a reading repeats, pooled over settings that were read once on the way up and once on the way down.

    Args:
        up_down_percent: shape (n,), 100·ln(up/down) of sound settings, n >= 1; a setting whose own fault makes the two
            ways differ must be left out, or it widens the budget of all.
        readings: averaged in each gain: 2 for the mean of up and down.
    Returns:
        student, √(Σd²/2n)/√readings with n degrees of freedom, of each reading for itself. A difference common to all
        settings (drift between the ways) is not taken off: it counts as scatter. The noise of the fit is in it.
    Raises:
        NotFinite: a difference is not finite, or readings is below 1.
        MeasureError: there is no setting.
    Source:
        pooled variance of duplicates: JCGM 100:2008, 4.2.4, H.3.6 (pooling); each pair gives d²/2 with one degree.
    """
    differences = checked("repeatability", "up_down_percent", up_down_percent)
    count = float(checked("repeatability", "readings", readings, least=1.0))
    pairs = same_length("repeatability", up_down_percent=differences)
    if pairs == 0:
        raise MeasureError("repeatability: no setting was read both ways; allowed is at least one")
    value = float(np.sqrt(np.mean(differences**2) / 2.0 / count))
    return Contribution(name="repeatability", value_percent=value, shape=Shape.STUDENT, dof=float(pairs))


@dataclass(frozen=True, slots=True, kw_only=True)
class Nested:
    """Scatter within groups (repeats) apart from scatter between groups (days, toggles, reconnections)."""

    mean: float
    within: float
    """Standard deviation of a single observation within a group, pooled."""
    between_means: float
    """Standard deviation of the group means."""
    between: float
    """Standard deviation of the group effect itself; 0 where the means scatter no more than repeats explain."""
    f_ratio: float
    """Variance between groups over variance within; its critical value decides whether the groups differ."""
    dof_between: int
    dof_within: int
    standard: float
    """Standard uncertainty of the mean, from the group means, dof_between degrees of freedom."""
    pooled_standard: float
    """Standard uncertainty of the mean if the groups do not differ, dof_between + dof_within degrees of freedom."""

    def critical_ratio(self, *, probability_ratio: float) -> float:
        """The F ratio that groups of equal effect stay below with this probability."""
        from scipy.special import fdtri

        return float(fdtri(self.dof_between, self.dof_within, probability_ratio))


def nested(means: Floats, *, deviations: Floats, count: int) -> Nested:
    """Whether groups of repeats differ, and by how much.

    Args:
        means: shape (g,), mean of each group, any one unit, g >= 2.
        deviations: shape (g,), standard deviation within each group, same unit, >= 0, not all zero.
        count: observations in each group, >= 2.
    Returns:
        the scatters, same unit.
    Raises:
        NotFinite: an argument is outside its bounds.
        MeasureError: fewer than two groups, arrays of different length, or no scatter within any group.
    Source:
        JCGM 100:2008, H.5, analysis of variance of a balanced two-stage design.
    """
    where = "nested scatter"
    averages = checked(where, "means", means)
    spread = checked(where, "deviations", deviations, least=0.0)
    size = int(checked(where, "count", count, least=2.0))
    groups = same_length(where, means=averages, deviations=spread)
    within = float(np.mean(spread**2))
    if groups < 2 or within <= 0.0:
        raise MeasureError(f"{where}: {groups} groups, variance within {within:g}; allowed are 2 groups that scatter")
    of_means = float(np.var(averages, ddof=1))
    dof_between, dof_within = groups - 1, groups * (size - 1)
    total = dof_between * size * of_means + dof_within * within
    return Nested(
        mean=float(np.mean(averages)),
        within=within**0.5,
        between_means=of_means**0.5,
        between=max(of_means - within / size, 0.0) ** 0.5,
        f_ratio=size * of_means / within,
        dof_between=dof_between,
        dof_within=dof_within,
        standard=(of_means / groups) ** 0.5,
        pooled_standard=(total / (dof_between + dof_within) / (groups * size)) ** 0.5,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Observed:
    """Means of quantities that were observed together; arrays are made read-only."""

    means: Floats
    """Shape (k,)."""
    covariance: Floats
    """Shape (k, k), of the means."""
    dof: int

    def __post_init__(self) -> None:
        self.means.setflags(write=False)
        self.covariance.setflags(write=False)


def observed(sets: Floats) -> Observed:
    """What simultaneous observations of several quantities say of their means, correlation included.

    Args:
        sets: shape (n, k): n sets of k quantities, n >= 2, each column in its own unit.
    Returns:
        means and the covariance matrix of the means, n - 1 degrees of freedom.
    Raises:
        NotFinite: an observation is not finite.
        MeasureError: the array is not two-dimensional, or holds fewer than two sets.
    Source:
        JCGM 100:2008, 5.2.3, equation (17); H.2.
    """
    values = checked("simultaneous observations", "an observation", sets)
    if values.ndim != 2 or values.shape[0] < 2:
        raise MeasureError(
            f"simultaneous observations: shape is {values.shape}; allowed is (sets, quantities), 2 sets on"
        )
    centred = values - values.mean(axis=0)
    count = values.shape[0]
    return Observed(means=values.mean(axis=0), covariance=centred.T @ centred / (count * (count - 1)), dof=count - 1)
