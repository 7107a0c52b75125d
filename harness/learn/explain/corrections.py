"""Corrections that the residuals of a law ask for: found by the criterion, and tried on gains left out of the fit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from harness.learn.explain.candidates import SURE_TIMES, Tried, candidates, range_factor
from harness.learn.explain.competition import STRONG, left_out, sample_of
from harness.learn.explain.hypothesis import Fitted, Floats, Groups
from harness.learn.explain.movement import Movement
from harness.learn.explain.observed import Seen
from harness.learn.explain.ripple import period_u
from harness.learn.explain.shapes import Shape
from harness.learn.explain.terms import Term, TermKind

LEAST_LEFT_RATIO = 6e-4
"""A law that leaves less asks for nothing: that is what a source leaves."""
LEAST_EFFECT_RATIO = 0.002
"""A correction that moves the gains by less from end to end is not told from the steps of the source's own ranges."""
BETTER = 0.85
"""Errors on gains left out must fall to this share of what they were."""
MOST = 3
"""Corrections of one law."""
FIRST = 3
"""Best candidates that are tried on gains left out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One correction that was taken, and why."""

    what: Term | int
    drop: float
    before_ratio: float
    after_ratio: float
    rival: str
    """Another correction in its place that does about as well; empty where none does."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corrected:
    """A law with the corrections that its residuals ask for."""

    law: Fitted
    base: Groups
    """Shape (n,): a range with a factor of its own has groups of its own."""
    steps: tuple[Step, ...]
    refused: str
    """What was looked for and not asked for, in a sentence without its end."""
    plain: Groups
    """Shape (n,): the groups without factors of ranges."""
    u_period_code: float = math.inf
    """Standard uncertainty of a ripple's period."""

    def range_factors(self, seen: Seen) -> Mapping[int, tuple[float, float]]:
        """ln of the factor of each range that has one, and its standard uncertainty, by range."""
        found = {}
        for step in self.steps:
            if isinstance(step.what, int):
                found[step.what] = range_factor(self.law, self.base, self.plain, seen, step.what)
        return found


def corrected(
    law: Fitted, base: Groups, seen: Seen, logs: Floats, movement: Movement, *, by_words: bool
) -> Corrected:
    """A law with what its residuals ask for, one correction after the other.

    Args:
        law: as it won.
        base: shape (n,), its groups.
        seen: all settings.
        logs: shape (n,), ln gain with arithmetic taken out.
        movement: of the bits.
        by_words: whether codes are numbers of words; a fine position has no bits that weigh or carry.
    Returns:
        a correction is taken where the criterion falls by STRONG or more, gains left out of the fit are foretold
        better, and its size is beyond its uncertainty and beyond what a source's own ranges do.
    Source:
        forward selection by Schwarz's criterion and k-fold cross-validation; the bars are common practice, no source.
    """
    plain, refused = base, ""
    steps: list[Step] = []
    left_before = math.nan
    while len(steps) < MOST:
        if law.scatter_ratio < LEAST_LEFT_RATIO:
            refused = refused or f"the law leaves {100.0 * law.scatter_ratio:.2g} %, which asks for none"
            break
        sample = sample_of(seen, logs, base, movement)
        tried = candidates(law, base, plain, seen, logs, movement, by_words=by_words)
        ranked = sorted(tried, key=lambda one: -one.drop)
        if math.isnan(left_before):
            left_before = left_out(law.hypothesis, sample)
        if not ranked:
            refused = "none can be told from these settings"
            break
        errors = [left_out(one.law.hypothesis, sample_of(seen, logs, one.base, movement)) for one in ranked[:FIRST]]
        asked = [k for k, after in enumerate(errors) if _asked_for(ranked[k], after, left_before, seen)]
        if not asked:
            refused = _why_not(ranked[0], errors[0], left_before)
            break
        best, after = ranked[asked[0]], errors[asked[0]]
        others = (one for one in ranked if one is not best and not one.alike(best))
        rival = next((one.name for one in others if one.drop > best.drop - STRONG), "") or _apart(best)
        steps.append(
            Step(what=best.what, drop=best.drop, before_ratio=left_before, after_ratio=after,
                 rival=rival)
        )  # fmt: skip
        law, base, left_before = best.law, best.base, after
    kinds = [term.kind for term in law.hypothesis.terms]
    u_code = math.inf
    if TermKind.RIPPLE in kinds:
        u_code = period_u(law.hypothesis, sample_of(seen, logs, base, movement), kinds.index(TermKind.RIPPLE))
    return Corrected(law=law, base=base, steps=tuple(steps), refused=refused, plain=plain, u_period_code=u_code)


def _apart(one: Tried) -> str:
    """In dB every bit may have a ratio of its own: at an end of the number a carry is no more than that."""
    if isinstance(one.what, int) or one.what.kind is not TermKind.CARRY:
        return ""
    at_end = one.what.bit in (0, one.law.hypothesis.field.bits - 1)
    in_db = one.law.hypothesis.shape is Shape.LINEAR_IN_DB
    return "a bit apart from the number, with a ratio of its own," if at_end and in_db else ""


def _why_not(best: Tried, after: float, before: float) -> str:
    return (
        f"nearest is {best.name}: the criterion falls by {best.drop:.1f} (asked for from {STRONG:g}), errors on gains "
        f"left out go from {100.0 * before:.2g} % to {100.0 * after:.2g} %"
    )


def _asked_for(one: Tried, after: float, before: float, seen: Seen) -> bool:
    if one.drop < STRONG or not after < BETTER * before or not one.law.determined:
        return False
    if isinstance(one.what, int):
        return True  # its size was looked at before it was tried
    size, u = size_of(one.law, len(one.law.hypothesis.terms) - 1)
    return abs(size) > SURE_TIMES * u and _effect(one.law, seen) > LEAST_EFFECT_RATIO


def _effect(law: Fitted, seen: Seen) -> float:
    """How far the last term moves the gains from end to end."""
    codes = law.hypothesis.field.codes(seen.bits[seen.measured])
    columns = law.hypothesis.terms[-1].columns(law.hypothesis.shape, codes)
    moved = columns @ law.term_weights[-columns.shape[1] :]
    return float(moved.max() - moved.min())


def size_of(law: Fitted, index: int) -> tuple[float, float]:
    """The size of a term of a law, and its standard uncertainty.

    Args:
        law: with terms.
        index: of the term.
    Returns:
        amplitude of a ripple as ln; ln of a carry's factor; share of a weight; strength of a pole. A word deviates the
        same wherever it is used, so readings of one word count as one.
    Source:
        covariance of the fit; amplitude and phase of a sine: first order.
    """
    widths = [2 if term.kind is TermKind.RIPPLE else 1 for term in law.hypothesis.terms]
    start = law.bit_logs.size + law.shape_weights.size + sum(widths[:index])
    weights = law.term_weights[sum(widths[:index]) : sum(widths[: index + 1])]
    own = law.covariance[start : start + widths[index], start : start + widths[index]]
    again = law.residuals.size / max(law.words, 1)
    if widths[index] == 1:
        return float(weights[0]), math.sqrt(max(float(own[0, 0]), 0.0) * again)
    size = math.hypot(*map(float, weights))
    along = weights / max(size, 1e-300)
    return size, math.sqrt(max(float(along @ own @ along), 0.0) * again)
