"""W2: hits in the codes that arithmetic cannot reach."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from harness.judge.waveform.lattice import ROUNDINGS, inner, reach
from harness.judge.waveform.record import Booleans, Floats, Integers, Seen
from harness.judge.waveform.result import LLR_CAP, WaveformTest, decided, unmet
from harness.judge.waveform.step_size import codes_followed

STRAY_RATIO = 0.02
"""Share of hits that arithmetic may have in its empty codes: a constant held as a binary fraction misses by a code."""
ALPHA = 0.01
UNEVEN_LSB = 0.3
"""Codes may be narrower by this much: fewer hits than expected, by chance alone where the codes are few."""
OFF_NAME = 3.0
"""Standard deviations of the spacing from 1 at which another factor than the name's is looked for."""
SEARCH = 4.0
"""Standard deviations of the spacing over which it is looked for."""
OVERSAMPLED = 4
SAME_NAME = 3e-4
"""A comb this near to the name's factor is the name's, held as a binary fraction: its spectrum has steps of 1e-4."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comb:
    """A regular pattern of empty codes."""

    ratio: float
    """Magnification that leaves these gaps."""
    strength: float
    """Power of the pattern over its mean: exceeded with exp(-strength) by chance, at one frequency."""
    tried: float
    """Independent frequencies looked at."""


def code_gaps_test(
    a: Seen, b: Seen, *, ratio: float, origins: tuple[int, ...] = (0,), u_ratio_percent: float = 0.1
) -> WaveformTest:
    """Whether the setting visits codes that a multiplication of the reference's codes can never give.

    Codes that the reference never visits either (missing codes, lost bits) are left out, so that a converter's own gaps
    are not taken for arithmetic.

    Args:
        a: the reference setting, at about the same fill.
        b: the setting that is `ratio` times more sensitive by name.
        ratio: name of b over name of a, > 1.
        origins: codes that a multiplication may leave in place: 0, for offset-binary codes the middle.
        u_ratio_percent: standard uncertainty of the ratio of the two drive levels, percent.
    Returns:
        the test; `factor` is the arithmetic part when a comb of gaps is found.
    Source:
        common practice, no source (test W2): H hits in K predicted-empty codes, H ~ Poisson(K·λ) for hardware,
        Bonferroni over the phases tried; derived in tests/judge_waveform/test_gaps.py.
    """
    missing = _missing(a, b, ratio)
    if missing:
        return unmet("W2", missing)
    low, high = _common(a, b)
    if high - low < 16:
        return unmet("W2", "the two records share too few codes: drive both to the same fill")
    if a.spacing is not None and math.log(max(a.spacing.units / a.grid, 1.0)) > OFF_NAME * a.spacing.u_ratio:
        return unmet("W2", f"the reference itself leaves gaps: its values lie {a.spacing.units:.4g} codes apart")
    counts = b.counts_between(low, high)
    known = a.counts_between(low, high) > 0
    hits = b.expected_between(low, high)
    empties = _predicted_empty(ratio, low, high, origins)
    found = [(int(counts[empty & known].sum()), float(hits[empty & known].sum()), empty & known) for empty in empties]
    phases = len(found)
    power = [mean * _narrowed(int(empty.sum())) for _, mean, empty in found]
    middle_hits = _median(hits[hits.size // 3 : -hits.size // 3])
    needed = math.log(phases / ALPHA)
    power_m = _power_m(needed, middle_hits * float(known.mean()) * hits.size)
    llrs = [
        hit * math.log(1.0 / STRAY_RATIO) - (1.0 - STRAY_RATIO) * mean
        for (hit, _, _), mean in zip(found, power, strict=True)
    ]
    best = int(np.argmin(llrs))
    hit, mean, empty = found[best]
    text = f"{hit} hits in {int(empty.sum())} codes that ×{ratio:.5g} leaves empty, {mean:.1f} expected of hardware"
    llr = math.log(phases) - math.log(sum(math.exp(llrs[best] - one) for one in llrs)) + llrs[best]
    # Where the reference itself leaves gaps, a comb of the setting's own cannot be read.
    other = _any_factor(b, counts, known) if a.grid == 1.0 else None
    if llr > -LLR_CAP and other is not None:
        strength = other.strength - math.log(other.tried)
        factor = ratio if abs(other.ratio / ratio - 1.0) < SAME_NAME else other.ratio
        seen = f"one code in {other.ratio / (other.ratio - 1.0):.4g} is empty, as ×{other.ratio:.5g} leaves them"
        return decided("W2", -strength, f"{text}; {seen}", power_m, factor=factor)
    if max(power) < needed:
        return unmet("W2", f"{text}: fewer than {needed:.1f} expected hits prove nothing; take more samples")
    if llr > 0.0 and not codes_followed(a, b, ratio=ratio, u_ratio_percent=u_ratio_percent):
        return unmet("W2", f"{text}; but the codes are not known to have followed, so the scale alone may have changed")
    return decided("W2", llr, text, power_m, factor=ratio if llr < 0.0 else None)


def _median(values: Floats) -> float:
    """As the library's, which takes ten times as long over a few hundred values."""
    ordered = np.sort(values)
    return float((ordered[(ordered.size - 1) // 2] + ordered[ordered.size // 2]) / 2.0)


def _missing(a: Seen, b: Seen, ratio: float) -> str:
    if ratio <= 1.0:
        return "a reduction leaves no gaps: see W2'"
    for name, seen in (("reference", a), ("setting", b)):
        if not seen.plain:
            return f"{name}: {seen.not_plain}"
        if not seen.whole:
            return f"{name}: the values are no whole codes"
    return ""


def _common(a: Seen, b: Seen) -> tuple[int, int]:
    (low_a, high_a), (low_b, high_b) = inner(a.fit, 1.0), inner(b.fit, 1.0)
    return max(low_a, low_b), min(high_a, high_b)


def _narrowed(count: int) -> float:
    return 1.0 - UNEVEN_LSB / math.sqrt(max(count, 1))


def _predicted_empty(ratio: float, low: int, high: int, origins: tuple[int, ...]) -> list[Booleans]:
    """Distinct patterns of empty codes, one for each way of rounding and each origin that makes a difference."""
    patterns: dict[bytes, Booleans] = {}
    for origin in origins:
        first, wide = _all_empty(round(ratio, 12), origin, max(abs(low), abs(high), 2048).bit_length())
        for whole in wide:
            empty = whole[low - first : high - first + 1]
            patterns.setdefault(empty.tobytes(), empty)
    return list(patterns.values())


@lru_cache(maxsize=1024)
def _all_empty(ratio: float, origin: int, bits: int) -> tuple[int, tuple[Booleans, ...]]:
    """The lowest code, and the empty codes from there on for each rounding: a ladder asks for few ratios, often."""
    low, high = -(1 << bits), 1 << bits
    patterns: dict[bytes, Booleans] = {}
    for _, rounding in ROUNDINGS:
        empty = reach(ratio, rounding, low=low, high=high, origin=origin) == 0
        empty.setflags(write=False)
        patterns.setdefault(empty.tobytes(), empty)
    return low, tuple(patterns.values())


def _power_m(needed: float, places_hits: float) -> float | None:
    """Magnification whose empty codes would be hit often enough: (1 - 1/m)·places·λ = needed."""
    share = needed / places_hits if places_hits > 0.0 else 1.0
    return 1.0 / (1.0 - share) if share < 1.0 else None


def _any_factor(b: Seen, counts: Integers, known: Booleans) -> Comb | None:
    """The comb of gaps of whatever factor, if the number of gaps speaks for one."""
    spacing = b.spacing
    if spacing is None or math.log(max(spacing.units, 1.0)) < OFF_NAME * spacing.u_ratio:
        return None
    comb = comb_of(counts == 0, known, near_ratio=spacing.units, u_ratio=spacing.u_ratio)
    return comb if comb is not None and comb.strength > math.log(comb.tried / ALPHA) else None


def comb_of(empty: Booleans, known: Booleans, *, near_ratio: float, u_ratio: float) -> Comb | None:
    """Which regular pattern of empty codes stands out.

    Args:
        empty: shape (n,), true where a code was never visited.
        known: shape (n,), false where a code says nothing, for it is empty in the reference as well.
        near_ratio: magnification that the number of gaps speaks for, > 1.
        u_ratio: its standard uncertainty, relative.
    Returns:
        the strongest pattern; None when there is no gap, or nothing but gaps.
    Source:
        periodogram; its power at one frequency exceeds s times its mean with probability exp(-s).
    """
    places = np.flatnonzero(known)
    values: Floats = empty[places].astype(np.float64)
    values -= values.mean() if values.size else 0.0
    power = float(values @ values)
    if not power > 0.0:
        return None
    widest = SEARCH * max(u_ratio, 1e-3)
    highest, lowest = 1.0 / max(near_ratio * math.exp(-widest), 1.0 + 1e-3), 1.0 / (near_ratio * math.exp(widest))
    # The spectrum of a real pattern repeats above half a cycle a code: 0.6 stands where 0.4 does.
    length = OVERSAMPLED * empty.size
    centred = np.zeros(length)
    centred[places] = values
    spectrum = np.abs(np.fft.rfft(centred)) ** 2 / power
    bins = np.arange(math.floor(lowest * length), math.ceil(highest * length) + 1)
    bins = bins[(bins > 0) & (bins < length)]
    strengths = spectrum[np.minimum(bins, length - bins)]
    best = int(strengths.argmax())
    return Comb(
        ratio=float(length / bins[best]),
        strength=float(strengths[best]),
        tried=1.0 + (highest - lowest) * empty.size,
    )
