"""What a rule costs over many items of a process: shipped bad and rejected good."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from harness.errors import NotFinite
from harness.judge.decision.decide import DECISION_RULES, LEAST_TUR_RATIO
from harness.judge.decision.request import Request
from harness.judge.uncertainty.checked import Floats, checked

NODES = 20
"""Of Gauss and Legendre in each panel: exact to 1e-12 for a normal density over one standard deviation."""
REACH = 9.0
"""Standard uncertainties beyond which a normal distribution is nothing: 1e-19."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Process:
    """How the true values of items are spread."""

    density: Callable[[Floats], Floats]
    """Probability density at an array of true values, same shape."""
    support: tuple[float, float]
    """Outside of it the density counts as nothing."""
    scale: float
    """The density is smooth over this distance, such as a standard deviation; > 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """Shares of all items tested."""

    bad_ratio: float
    """Outside the limits in truth."""
    accepted_ratio: float
    """Read inside the acceptance limits."""
    false_accept_ratio: float
    """Bad and accepted: global consumer's risk, PFA."""
    false_reject_ratio: float
    """Good and not accepted: global producer's risk, PFR. What is INCONCLUSIVE counts as not accepted."""

    @property
    def bad_among_accepted_ratio(self) -> float:
        """Conditional PFA: share of the shipped items that are bad; 0 where nothing is accepted."""
        return self.false_accept_ratio / self.accepted_ratio if self.accepted_ratio > 0.0 else 0.0


def normal_process(*, mean: float, deviation: float) -> Process:
    """The process of normally spread true values.

    Args:
        mean: any unit.
        deviation: standard deviation, same unit, > 0.
    Returns:
        the process.
    Raises:
        NotFinite: an argument is not finite, or the deviation is not positive.
    Source:
        definition of the normal distribution.
    """
    centre = float(checked("normal process", "mean", mean))
    sigma = float(checked("normal process", "deviation", deviation, least=0.0, open_at="least"))

    def density(truth: Floats) -> Floats:
        height = 1.0 / (math.sqrt(2.0 * math.pi) * sigma)
        return np.asarray(height * np.exp(-0.5 * ((truth - centre) / sigma) ** 2), dtype=np.float64)

    return Process(density=density, support=(centre - REACH * sigma, centre + REACH * sigma), scale=sigma)


def global_risk(
    process: Process,
    *,
    standard: float,
    limits: tuple[float, float],
    acceptance: tuple[float, float] | None,
) -> Risk:
    """What a pair of acceptance limits costs.

    Args:
        process: spread of the true values, any one unit.
        standard: standard uncertainty of a reading (normal), same unit, > 0.
        limits: low and high limit of the true value, same unit, infinite for an open side.
        acceptance: low and high limit of the reading; None where nothing is accepted.
    Returns:
        shares of all items tested, by numerical integration over the true value.
    Raises:
        NotFinite: uncertainty or scale is not positive and finite, or limits or support are no interval.
    Source:
        JCGM 106:2012, 9.5.2 and 9.5.3; tests/published/test_jcgm106.py.
    """
    where = "global risk"
    u = float(checked(where, "standard", standard, least=0.0, open_at="least"))
    scale = float(checked(where, "the scale of the process", process.scale, least=0.0, open_at="least"))
    start, stop = process.support
    checked(where, "the support of the process", (start, stop))
    if not (start < stop and limits[0] < limits[1]):
        raise NotFinite(f"{where}: limits {limits} within {process.support}; allowed are intervals, lower end first")
    from scipy.special import ndtr

    edges = _edges((start, stop), limits, acceptance, standard=u, scale=scale)
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    half = np.diff(edges) / 2.0
    truth = (edges[:-1] + half)[:, np.newaxis] + half[:, np.newaxis] * nodes
    mass = process.density(truth) * half[:, np.newaxis] * weights
    good = (truth >= limits[0]) & (truth <= limits[1])
    if acceptance is None:
        accept, refuse = np.zeros_like(truth), np.ones_like(truth)
    else:
        below, above = ndtr((acceptance[0] - truth) / u), ndtr((truth - acceptance[1]) / u)
        accept, refuse = np.maximum(ndtr((acceptance[1] - truth) / u) - below, 0.0), below + above
    return Risk(
        bad_ratio=float(mass[~good].sum()),
        accepted_ratio=float((mass * accept).sum()),
        false_accept_ratio=float((mass * accept)[~good].sum()),
        false_reject_ratio=float((mass * refuse)[good].sum()),
    )


def rule_risk(rule: str, *, cpk_ratio: float, tur_ratio: float, share_ratio: float = 1.0, guard: float = 0.0) -> Risk:
    """What a rule costs for a centred normal process.

    Args:
        rule: a name of DECISION_RULES.
        cpk_ratio: half width of the limits over three standard deviations of the true values, > 0.
        tur_ratio: half width of the limits over U = 2u, > 0.
        share_ratio: r of rule `guard-band`.
        guard: w of rule `guarded`, in half widths of the limits.
    Returns:
        shares of all items tested; below TUR 1 nothing is accepted.
    Raises:
        NotFinite: an argument is outside its bounds.
        KeyError: the rule is not in DECISION_RULES.
    Source:
        JCGM 106:2012, 9.5; tests/published/test_guard_band_risk.py.
    """
    cpk = float(checked("risk of a rule", "cpk_ratio", cpk_ratio, least=0.0, open_at="least"))
    tur = float(checked("risk of a rule", "tur_ratio", tur_ratio, least=0.0, open_at="least"))
    request = Request(expanded=1.0 / tur, low=-1.0, high=1.0, share_ratio=share_ratio, guard=guard)
    edge = 1.0 - DECISION_RULES[rule](request)
    return global_risk(
        normal_process(mean=0.0, deviation=1.0 / (3.0 * cpk)),
        standard=0.5 / tur,
        limits=(-1.0, 1.0),
        acceptance=(-edge, edge) if edge >= 0.0 and tur >= LEAST_TUR_RATIO else None,
    )


def _edges(
    support: tuple[float, float],
    limits: tuple[float, float],
    acceptance: tuple[float, float] | None,
    *,
    standard: float,
    scale: float,
) -> Floats:
    """Borders of panels over which density and acceptance are smooth, the limits among them."""
    start, stop = support
    panels = max(1, math.ceil((stop - start) / scale))
    cuts = [np.linspace(start, stop, min(panels, 2000) + 1), np.asarray(limits)]
    for edge in acceptance or ():
        if math.isfinite(edge):
            cuts.append(edge + standard * np.arange(-REACH, REACH + 1.0))
    every = np.concatenate(cuts)
    return np.unique(every[(every >= start) & (every <= stop)])
