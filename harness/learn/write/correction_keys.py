"""Corrections of a law as keys of its stage, and in words with their uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from harness.learn.explain import Explained
from harness.learn.explain.corrections import Step, size_of
from harness.learn.explain.hypothesis import Fitted
from harness.learn.explain.terms import Term, TermKind
from harness.learn.write.parts import COVERED, LN_PER_DB, Value, digits


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldCorrection:
    """One correction for people."""

    text: str
    """What it is with ±, and what asked for it."""
    sure: str
    """likely; guessed where another one does about as well."""
    u_percent: float
    """Standard uncertainty of what it does to a gain, percent, where it does most."""
    of_range: bool
    """Whether it is the factor of a range."""


def correction_keys(law: Fitted, *, scale_ratio: float, frequency_hz: float) -> dict[str, Value]:
    """The keys of the number's stage that hold its corrections.

    Args:
        law: with terms.
        scale_ratio: gain of the stage where the law's relative gain is 1, V/V.
        frequency_hz: at which gains were measured.
    Returns:
        ripple_db and its like, carry_percent, weight_percent, corrections; empty without terms.
    Source:
        a·sin θ + b·cos θ = √(a² + b²)·sin(θ + atan2(b, a)); strength (f·G/GBW)².
    """
    keys: dict[str, Value] = {}
    percents: dict[str, dict[str, float]] = {}
    for index, term in enumerate(law.hypothesis.terms):
        size, _ = size_of(law, index)
        match term.kind:
            case TermKind.RIPPLE:
                sine, cosine = _ripple(law, index)
                keys["ripple_db"] = digits(size / LN_PER_DB)
                keys["ripple_period_code"] = digits(term.period_code)
                keys["ripple_phase_deg"] = digits(math.degrees(math.atan2(cosine, sine)))
            case TermKind.CARRY:
                percents.setdefault("carry_percent", {})[f"bit_{term.bit}"] = digits(100.0 * math.expm1(size))
            case TermKind.WEIGHT:
                percents.setdefault("weight_percent", {})[f"bit_{term.bit}"] = digits(100.0 * size)
            case TermKind.POLE:
                keys["corrections"] = {"gain_bandwidth_hz": digits(_product_hz(size, scale_ratio, frequency_hz))}
    return {**keys, **percents}


def _product_hz(strength: float, scale_ratio: float, frequency_hz: float) -> float:
    return frequency_hz * scale_ratio / math.sqrt(max(strength, 1e-300))


def _ripple(law: Fitted, index: int) -> tuple[float, float]:
    before = sum(2 if term.kind is TermKind.RIPPLE else 1 for term in law.hypothesis.terms[:index])
    return float(law.term_weights[before]), float(law.term_weights[before + 1])


def told_corrections(explained: Explained, names: Sequence[str] = ()) -> Iterator[ToldCorrection]:
    """Every correction that was taken.

    Args:
        explained: any.
        names: of the ranges; without them they are numbered.
    Yields:
        in the order in which they were found.
    Source:
        none: presentation.
    """
    found, law = explained.corrected, explained.law
    if found is None or law is None:
        return
    for step in found.steps:
        what = step.what
        text, u_percent = _range(explained, what, names) if isinstance(what, int) else _term(explained, law, what)
        yield ToldCorrection(
            text=f"{text}; {_asked(step)}", sure="guessed" if step.rival else "likely", u_percent=u_percent,
            of_range=isinstance(what, int),
        )  # fmt: skip


def _asked(step: Step) -> str:
    errors = f"errors on gains left out from {100.0 * step.before_ratio:.2g} % to {100.0 * step.after_ratio:.2g} %"
    rival = f"; {step.rival} in its place does about as well" if step.rival else ""
    return f"asked for: the criterion falls by {step.drop:.0f}, {errors}{rival}"


def _range(explained: Explained, coarse: int, names: Sequence[str]) -> tuple[str, float]:
    factors = explained.states.factors.values() if explained.states is not None else ()
    one = next(factor for factor in factors if factor.coarse == coarse)
    u_percent = 100.0 * one.u_log
    percent = f"{100.0 * math.expm1(one.log):+.2g} ± {COVERED * u_percent:.1g} %"
    name = names[coarse] if names else f"{coarse + 1} from the least sensitive on"
    return f"range {name} has {percent} over those that share its parts", u_percent


def _term(explained: Explained, law: Fitted, what: Term) -> tuple[str, float]:
    index = next(
        k for k, term in enumerate(law.hypothesis.terms) if (term.kind, term.bit) == (what.kind, what.bit)
    )
    term, (size, u) = law.hypothesis.terms[index], size_of(law, index)
    percent = f"{100.0 * size:.3g} ± {COVERED * 100.0 * u:.1g} %"
    match term.kind:
        case TermKind.RIPPLE:
            u_code = explained.corrected.u_period_code if explained.corrected is not None else math.inf
            unit = "codes" if explained.by_words else "fine positions"
            period = f"{term.period_code:.4g} ± {COVERED * u_code:.1g} {unit}"
            text = f"ripple of ±{size / LN_PER_DB:.3g} ± {COVERED * u / LN_PER_DB:.1g} dB (±{percent}) every {period}"
            return text, 100.0 * u
        case TermKind.CARRY:
            return f"carry: {percent} more gain while bit {term.bit} of the number is set", 100.0 * u
        case TermKind.WEIGHT:
            return f"bit {term.bit} of the number weighs {percent} more than its place", 100.0 * u
    codes = law.hypothesis.field.codes(explained.seen.bits[explained.seen.measured])
    moved = term.columns(law.hypothesis.shape, codes)[:, 0]
    most = 100.0 * float(-moved.min())
    lost = f"{most * size:.2g} ± {COVERED * most * u:.1g} % of the gain lost where it is most"
    return f"pole: {lost}, by a product of gain and bandwidth", most * u
