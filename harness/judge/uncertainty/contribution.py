"""One contribution to the uncertainty of a gain."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.judge.uncertainty.checked import checked, checked_dof
from harness.judge.uncertainty.shape import BOUNDED, Shape, standard_ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One cause of doubt about a gain, in percent of the gain: 100·ln, so that causes add."""

    name: str
    """For people, such as `meter, reading`."""
    value_percent: float
    """Half width of a bounded shape, standard uncertainty of a normal or student one, >= 0."""
    shape: Shape
    dof: float = math.inf
    """Degrees of freedom of the standard uncertainty, >= 1."""
    common: bool = False
    """The same for all readings of a run: it cancels in steps and in residuals to a fitted law."""
    beta_ratio: float = 0.0
    """Top over base of a trapezoid."""

    def __post_init__(self) -> None:
        checked(f"contribution {self.name!r}", "value_percent", self.value_percent, least=0.0)
        checked(f"contribution {self.name!r}", "beta_ratio", self.beta_ratio, least=0.0, most=1.0)
        checked_dof(f"contribution {self.name!r}", self.dof)

    @property
    def standard_percent(self) -> float:
        """Standard uncertainty, percent of gain."""
        return self.value_percent * standard_ratio(self.shape, beta_ratio=self.beta_ratio)

    @property
    def stated(self) -> str:
        """For people: how it was stated, such as `rectangular ±0.1 %`."""
        beta = f" (β = {self.beta_ratio:.2g})" if self.shape is Shape.TRAPEZOID else ""
        sign = "±" if self.shape in BOUNDED else ""
        return f"{self.shape}{beta} {sign}{self.value_percent:.3g} %"


def expanded_contribution(
    name: str, expanded_percent: float, *, factor: float = 2.0, dof: float = math.inf, common: bool = True
) -> Contribution:
    """The contribution that a certificate states by an expanded uncertainty.

    Args:
        name: for people.
        expanded_percent: U of the certificate, percent of gain, >= 0.
        factor: coverage factor k of the certificate, > 0.
        dof: degrees of freedom behind it.
        common: whether it is the same for all readings.
    Returns:
        a normal contribution of U/k.
    Raises:
        NotFinite: an argument is outside its bounds.
    Source:
        JCGM 100:2008, 4.3.3.
    """
    k = float(checked(f"contribution {name!r}", "factor", factor, least=0.0, open_at="least"))
    value = expanded_percent / k
    return Contribution(name=name, value_percent=value, shape=Shape.NORMAL, dof=dof, common=common)
