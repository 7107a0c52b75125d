"""Which corrections a law could have: terms of its code, and ranges that have a factor of their own."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from harness.learn.explain.competition import sample_of
from harness.learn.explain.hypothesis import Fitted, Floats, Groups, Sample, fit
from harness.learn.explain.movement import Movement
from harness.learn.explain.observed import Seen
from harness.learn.explain.ripple import best_period
from harness.learn.explain.shapes import Shape
from harness.learn.explain.terms import Term, TermKind

LEAST_RANGE_RATIO = 0.003
"""A factor of a range below this is not told from the steps of the source's own ranges."""
SURE_TIMES = 4.0
"""A size must be so many times its standard uncertainty."""
LEAST_CODES = 3
"""Different codes with a bit set, and as many without, that a term of this bit needs."""
LEAST_TOGETHER = 3
"""Ranges that share a base, of which one may be told to be off."""
POLE_ROUNDS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """A law with one correction more."""

    law: Fitted
    base: Groups
    what: Term | int
    """A term of the code, or the range that has a factor of its own."""
    drop: float
    """By how much the criterion falls."""

    @property
    def name(self) -> str:
        """For people."""
        if isinstance(self.what, int):
            return f"a factor of range {self.what + 1}"
        bit = f" of bit {self.what.bit}" if self.what.kind in (TermKind.CARRY, TermKind.WEIGHT) else ""
        return f"{self.what.kind}{bit}"

    def alike(self, other: Tried) -> bool:
        """Whether both are carry and weight of one bit, which tell the same story."""
        one, two = self.what, other.what
        if isinstance(one, int) or isinstance(two, int):
            return False
        return {one.kind, two.kind} == {TermKind.CARRY, TermKind.WEIGHT} and one.bit == two.bit


def candidates(
    law: Fitted, base: Groups, plain: Groups, seen: Seen, logs: Floats, movement: Movement, *, by_words: bool
) -> Iterator[Tried]:
    """The law with one correction more, each as well as it fits.

    Args:
        law: as it stands, with the corrections that it has.
        base: shape (n,), its groups.
        plain: shape (n,), the groups without factors of ranges.
        seen: all settings.
        logs: shape (n,), ln gain with arithmetic taken out.
        movement: of the bits.
        by_words: whether codes are numbers of words.
    Yields:
        ripple, carry and weight of each bit, pole, a factor of each range that stands out.
    Source:
        none: enumeration.
    """
    sample = sample_of(seen, logs, base, movement)
    for term in _terms(law, sample, by_words=by_words):
        if any((term.kind, term.bit) == (old.kind, old.bit) for old in law.hypothesis.terms):
            continue
        hypothesis = replace(law.hypothesis, terms=(*law.hypothesis.terms, term))
        fitted = fit(hypothesis, sample)
        if fitted is not None:
            # The criterion has counted the columns; the period of a ripple was chosen as well.
            cost = math.log(max(fitted.words, 2)) if term.kind is TermKind.RIPPLE else 0.0
            yield Tried(law=fitted, base=base, what=term, drop=law.bic - fitted.bic - cost)
    for coarse in _loose_ranges(base, plain, seen):
        split = np.where(seen.coarse == coarse, base + (coarse + 1) * (int(base.max()) + 1), base)
        fitted = fit(law.hypothesis, sample_of(seen, logs, split, movement))
        if fitted is None:
            continue
        log, u = range_factor(fitted, split, plain, seen, coarse)
        if abs(log) > max(LEAST_RANGE_RATIO, SURE_TIMES * u):
            drop = law.bic - fitted.bic - math.log(max(fitted.words, 2))
            yield Tried(law=fitted, base=split, what=coarse, drop=drop)


def _terms(law: Fitted, sample: Sample, *, by_words: bool) -> Iterator[Term]:
    hypothesis = law.hypothesis
    codes = hypothesis.field.codes(sample.bits)
    distinct = np.unique(codes)
    if hypothesis.shape is Shape.TABLE or distinct.size < 2 * LEAST_CODES:
        return
    if hypothesis.shape is Shape.LINEAR_IN_DB:
        period = best_period(hypothesis, sample, distinct)
        if period is not None:
            yield Term(kind=TermKind.RIPPLE, period_code=period)
    if not by_words:
        return
    for bit in range(hypothesis.field.bits):
        set_ = int(np.count_nonzero(distinct >> bit & 1))
        if min(set_, distinct.size - set_) >= LEAST_CODES:
            yield Term(kind=TermKind.CARRY, bit=bit)
            if hypothesis.shape is not Shape.LINEAR_IN_DB:
                yield Term(kind=TermKind.WEIGHT, bit=bit)
    pole = _pole(law, sample)
    if pole is not None:
        yield pole


def _pole(law: Fitted, sample: Sample) -> Term | None:
    """The pole around its own strength; None where more gain does not lose more."""
    slope = float(law.shape_weights[0]) if law.hypothesis.shape is Shape.LINEAR_IN_DB else 0.0
    strength = 0.0
    for _ in range(POLE_ROUNDS):
        term = Term(kind=TermKind.POLE, slope=slope, strength=strength)
        fitted = fit(replace(law.hypothesis, terms=(*law.hypothesis.terms, term)), sample)
        if fitted is None or not fitted.determined or fitted.term_weights[-1] <= 0.0:
            return None
        strength = float(fitted.term_weights[-1])
    return Term(kind=TermKind.POLE, slope=slope, strength=strength)


def _loose_ranges(base: Groups, plain: Groups, seen: Seen) -> Iterator[int]:
    """Ranges that share their base with two others at least, in every channel; of two nobody knows which one is off."""
    together: dict[int, set[int]] = {}
    for coarse in map(int, np.unique(seen.coarse[seen.measured])):
        mine = (seen.coarse == coarse) & seen.measured
        if np.array_equal(base[mine], plain[mine]):
            for group in map(int, np.unique(base[mine])):
                together.setdefault(group, set()).add(coarse)
    ranges = set().union(*together.values()) if together else set()
    for coarse in sorted(ranges):
        if all(len(shared) >= LEAST_TOGETHER for shared in together.values() if coarse in shared):
            yield coarse


def range_factor(law: Fitted, base: Groups, plain: Groups, seen: Seen, coarse: int) -> tuple[float, float]:
    """What a range has over those that it shares its base with.

    Args:
        law: fitted with groups of its own for the range.
        base: shape (n,), those groups.
        plain: shape (n,), the groups that it would share.
        seen: all settings.
        coarse: the range.
    Returns:
        ln of its factor, mean over the channels, and its standard uncertainty.
    Source:
        difference of two group means; between channels their scatter where it is more.
    """
    mine = (seen.coarse == coarse) & seen.measured
    pairs = {(int(own), int(old)) for own, old in zip(base[mine], plain[mine], strict=True)}
    logs = [law.base[own] - law.base[old] for own, old in sorted(pairs) if own in law.base and old in law.base]
    if not logs:
        return 0.0, math.inf
    count = int(np.unique(law.hypothesis.field.codes(seen.bits[mine])).size)
    u = law.scatter_ratio * math.sqrt(2.0 / max(count, 1))
    if len(logs) > 1:
        u = max(u, float(np.std(logs, ddof=1))) / math.sqrt(len(logs))
    return float(np.mean(logs)), u
