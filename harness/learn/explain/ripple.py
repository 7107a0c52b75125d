"""The period of a ripple along a code, by trial of many."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from harness.learn.explain.hypothesis import Hypothesis, Sample, fit
from harness.learn.explain.terms import Term, TermKind

LEAST_TURNS = 1.0
"""Periods in the span of the codes: a longer one is a bend."""
LEAST_STEPS = 2.5
"""Shortest period in steps between neighbouring codes: a shorter one looks like a longer one."""
FINENESS = 0.25
"""Steps of the search, in turns over the whole span."""
MOST_PERIODS = 240
ROUNDS = 3
"""Each narrows the search to a third."""


def best_period(hypothesis: Hypothesis, sample: Sample, distinct: npt.NDArray[np.int64]) -> float | None:
    """The period that leaves least.

    Args:
        hypothesis: without a ripple.
        sample: rows with gains.
        distinct: different codes in order.
    Returns:
        codes; None where the codes are too few to hold a period.
    Source:
        least squares over a grid of frequencies, then a narrower one.
    """
    span = float(distinct[-1] - distinct[0])
    step = float(np.median(np.diff(distinct)))
    highest = span / (LEAST_STEPS * step)
    if highest < 2.0 * LEAST_TURNS:
        return None
    turns = np.linspace(LEAST_TURNS, highest, min(int((highest - LEAST_TURNS) / FINENESS) + 2, MOST_PERIODS))
    width = float(turns[1] - turns[0])
    best = min(turns, key=lambda one: _left(hypothesis, sample, span / float(one)))
    for _ in range(ROUNDS):
        near = best + width * np.linspace(-1.0, 1.0, 7)
        best = min(near[near > 0.0], key=lambda one: _left(hypothesis, sample, span / float(one)))
        width /= 3.0
    return span / float(best)


def _left(hypothesis: Hypothesis, sample: Sample, period_code: float) -> float:
    term = Term(kind=TermKind.RIPPLE, period_code=period_code)
    fitted = fit(replace(hypothesis, terms=(*hypothesis.terms, term)), sample)
    return float("inf") if fitted is None else float(fitted.residuals @ fitted.residuals)


def period_u(hypothesis: Hypothesis, sample: Sample, index: int) -> float:
    """Standard uncertainty of a ripple's period, codes.

    Args:
        hypothesis: with the ripple at its best period.
        sample: rows with gains.
        index: of the ripple among the terms.
    Returns:
        by the curvature of what is left; infinite where it has none.
    Source:
        least squares: u² = 2 s² over the second derivative of the sum of squares; readings of one word count as one.
    """
    term = hypothesis.terms[index]
    by = 0.01 * term.period_code
    lefts = []
    fitted = fit(hypothesis, sample)
    for period in (term.period_code - by, term.period_code, term.period_code + by):
        terms = list(hypothesis.terms)
        terms[index] = replace(term, period_code=period)
        moved = fit(replace(hypothesis, terms=tuple(terms)), sample)
        lefts.append(float("inf") if moved is None else float(moved.residuals @ moved.residuals))
    bend = (lefts[0] - 2.0 * lefts[1] + lefts[2]) / by**2
    if fitted is None or not bend > 0.0:
        return float("inf")
    again = fitted.residuals.size / max(fitted.words, 1)
    return float(np.sqrt(2.0 * again / bend) * fitted.scatter_ratio)
