"""Which law explains the gains best: hypotheses fitted, ranked by an information criterion, tried on gains left out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from harness.learn.explain.code_field import LEAST_BITS, CodeField, possible_fields
from harness.learn.explain.hypothesis import Fitted, Groups, Hypothesis, Sample, fit
from harness.learn.explain.movement import Movement, Moves
from harness.learn.explain.observed import Seen
from harness.learn.explain.shapes import Shape
from harness.learn.explain.terms import Term, TermKind

PARAMETRIC = (Shape.LINEAR_CODE, Shape.MDAC_FEEDBACK, Shape.LINEAR_IN_DB)
FOLDS = 5
FINALISTS = 8
"""Of each shape, simplest first, tried on all channels."""
STRONG = 10.0
"""Difference of the criterion that counts as decided."""
CARRIED = 6
"""Fields of a law linear in dB, fewest parameters first, that are tried with a carry too."""
CLEAR = 3.0
"""So many times worse on gains left out, the runner-up of another shape is beaten clearly."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ranked:
    """A hypothesis that was tried."""

    fitted: Fitted
    ranges_apart: bool
    """Whether each range has a base of its own: something that no word shows tells them apart."""
    left_out_ratio: float
    """Root mean square error on gains that the fit had not seen, relative; infinite where it could explain none."""

    @property
    def shape(self) -> Shape:
        """Of its law."""
        return self.fitted.hypothesis.shape

    @property
    def parameters(self) -> int:
        """Of the fit; a carry counts twice, for its bit was chosen as well."""
        return self.fitted.parameters + len(self.fitted.hypothesis.terms)

    @property
    def bic(self) -> float:
        """The criterion, on all channels."""
        return self.fitted.bic


def bases(seen: Seen, *, ranges_apart: bool) -> Groups:
    """Which settings share what no word shows.

    Args:
        seen: all settings.
        ranges_apart: each range of each channel for itself, or each channel as a whole.
    Returns:
        shape (n,).
    Source:
        none: numbering.
    """
    span = int(seen.coarse.max()) + 1
    return np.asarray(seen.channels * span + (seen.coarse if ranges_apart else 0), dtype=np.int64)


def sample_of(
    seen: Seen, logs: np.ndarray[tuple[int, ...], np.dtype[np.float64]], base: Groups, movement: Movement
) -> Sample:
    """The measured rows of some settings.

    Args:
        seen: all settings.
        logs: shape (n,), ln gain with arithmetic taken out; NaN rows are left out.
        base: shape (n,).
        movement: of the bits.
    Returns:
        the sample.
    Source:
        none: selection.
    """
    known = np.isfinite(logs)
    inside = seen.bits[known][:, list(movement.places(Moves.FINE, Moves.BOTH))]
    _, word = np.unique(inside, axis=0, return_inverse=True)
    return Sample(
        bits=seen.bits[known], logs=np.asarray(logs, dtype=np.float64)[known], u_ratio=seen.u_ratio[known],
        base=base[known], word=word.reshape(-1),
    )  # fmt: skip


def compete(
    seen: Seen, logs: np.ndarray[tuple[int, ...], np.dtype[np.float64]], movement: Movement
) -> tuple[Ranked, ...]:
    """The laws that explain the gains, best first.

    Every place of a code field with every law is tried on the channel with most gains; the best few of each law are
    fitted to all channels, and tried on gains left out.

    Args:
        seen: all settings.
        logs: shape (n,), ln gain with arithmetic taken out; NaN where none is known.
        movement: of the bits.
    Returns:
        at most FINALISTS of each law and a few tables; none where no number moves with the fine position, or too few
        gains are known.
    Source:
        Bayesian information criterion, Schwarz 1978; k-fold cross-validation (both from memory).
    """
    found: list[Ranked] = []
    for ranges_apart in (False, True):
        base = bases(seen, ranges_apart=ranges_apart)
        everything = sample_of(seen, logs, base, movement)
        if everything.logs.size == 0:
            continue
        one = everything.rows(_richest(seen, logs))
        tried = sorted(_tried(seen, movement, one, ranges_apart), key=order_of)
        carried = _carried(tried, one)
        for hypothesis in [*_finalists(tried, movement, seen, ranges_apart), *carried]:
            fitted = fit(hypothesis, everything)
            if fitted is not None:
                error = left_out(hypothesis, everything)
                found.append(Ranked(fitted=fitted, ranges_apart=ranges_apart, left_out_ratio=error))
    return tuple(sorted(found, key=lambda one: order_of(one.fitted)))


def order_of(fitted: Fitted) -> tuple[float, int, CodeField]:
    """By the criterion; of equals the narrowest field first.

    Args:
        fitted: any.
    Returns:
        a key to sort by, best first.
    Source:
        none: bits that change nothing do not belong to a number.
    """
    return round(fitted.bic, 3), fitted.hypothesis.field.bits, fitted.hypothesis.field


def _richest(
    seen: Seen, logs: np.ndarray[tuple[int, ...], np.dtype[np.float64]]
) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Of the rows with gains, those of the channel that has most."""
    channels = seen.channels[np.isfinite(logs)]
    names, counts = np.unique(channels, return_counts=True)
    return np.asarray(channels == names[int(counts.argmax())])


def _free(field: CodeField, movement: Movement, ranges_apart: bool) -> tuple[int, ...]:
    """Bits outside the field that may have a ratio of their own; those of the range alone are part of its base."""
    moves = (Moves.FINE, Moves.BOTH) if ranges_apart else (Moves.FINE, Moves.BOTH, Moves.COARSE)
    return tuple(place for place in movement.places(*moves) if place not in field.places)


def _tried(seen: Seen, movement: Movement, sample: Sample, ranges_apart: bool) -> Iterator[Fitted]:
    for field in possible_fields(seen, movement):
        free = _free(field, movement, ranges_apart)
        for shape in PARAMETRIC:
            fitted = fit(Hypothesis(shape=shape, field=field, free=free), sample)
            if fitted is not None:
                yield fitted


def _finalists(
    tried: Sequence[Fitted], movement: Movement, seen: Seen, ranges_apart: bool
) -> Iterable[Hypothesis]:
    """The best of each law with each number of parameters, and a table over the fields that did best."""
    chosen: dict[Hypothesis, None] = {}
    for shape in PARAMETRIC:
        of_size: dict[int, Hypothesis] = {}
        for fitted in tried:
            if fitted.hypothesis.shape is shape and fitted.determined:
                of_size.setdefault(fitted.parameters, fitted.hypothesis)
        for size in sorted(of_size)[:FINALISTS]:
            chosen[of_size[size]] = None
    fields = list(dict.fromkeys(fitted.hypothesis.field for fitted in tried))
    widest = max(possible_fields(seen, movement), key=lambda f: (f.bits, not f.least_first), default=None)
    for field in [*fields[:2], *([widest] if widest is not None else [])]:
        chosen[Hypothesis(shape=Shape.TABLE, field=field, free=_free(field, movement, ranges_apart))] = None
    return chosen


def _carried(tried: Sequence[Fitted], sample: Sample) -> Iterator[Hypothesis]:
    """Laws linear in dB with a carry: without it every one of their bits would rather have a ratio of its own."""
    of_size: dict[int, Fitted] = {}
    for fitted in tried:
        wide = fitted.hypothesis.shape is Shape.LINEAR_IN_DB and fitted.hypothesis.field.bits > LEAST_BITS
        if wide and fitted.determined:
            of_size.setdefault(fitted.parameters, fitted)
    for size in sorted(of_size)[:CARRIED]:
        plain = of_size[size].hypothesis
        terms = (Term(kind=TermKind.CARRY, bit=bit) for bit in range(plain.field.bits))
        found = [one for term in terms if (one := fit(replace(plain, terms=(term,)), sample)) and one.determined]
        if found:
            yield min(found, key=order_of).hypothesis


def left_out(hypothesis: Hypothesis, sample: Sample) -> float:
    """How wrong a hypothesis is on gains that its fit has not seen.

    Args:
        hypothesis: what is claimed.
        sample: all rows.
    Returns:
        root mean square error, relative; infinite where less than half of the rows could be explained when left out.
    Source:
        k-fold cross-validation. A law must tell gains of words that it has not seen, in whatever range; a table cannot,
        so it is asked for known words in other ranges.
    """
    folds = (sample.word if hypothesis.shape is not Shape.TABLE else _in_turn(sample.base)) % FOLDS
    errors: list[float] = []
    for fold in range(FOLDS):
        out = folds == fold
        fitted = fit(hypothesis, sample.rows(~out))
        if fitted is None:
            return math.inf
        missed = fitted.explain(sample.bits[out], sample.base[out]) - sample.logs[out]
        errors.extend(float(one) for one in missed if math.isfinite(one))
    return math.sqrt(sum(e * e for e in errors) / len(errors)) if 2 * len(errors) > folds.size else math.inf


def _in_turn(base: Groups) -> Groups:
    """Rows counted inside their group, each group beginning elsewhere."""
    _, group = np.unique(base, return_inverse=True)
    order = np.argsort(group, kind="stable")
    within = np.empty(order.size, dtype=np.int64)
    within[order] = np.arange(order.size) - np.searchsorted(group[order], group[order])
    return np.asarray(within + 2 * group, dtype=np.int64)


def sure(best: Ranked, ranked: Sequence[Ranked]) -> str:
    """How sure a law is.

    Args:
        best: the one that was chosen.
        ranked: all that were tried.
    Returns:
        known, likely or guessed.
    Source:
        common practice: a difference of the criterion above 10 is very strong evidence (Kass, Raftery 1995; from
        memory); for "known" the next law must fail on gains left out as well.
    """
    others = [one for one in ranked if one.shape is not best.shape and one.shape is not Shape.TABLE]
    if not others:
        return "likely"
    behind = min(one.bic for one in others) - best.bic
    beaten = min(one.left_out_ratio for one in others) > CLEAR * best.left_out_ratio
    return "known" if behind > STRONG and beaten else "likely" if behind > STRONG else "guessed"
