"""Whether a record of converter codes may be judged: rails, flat tops, fill, code spacing."""

from __future__ import annotations

import math

import numpy as np

from harness.errors import FitFailed, NotFinite
from harness.values import Codes, Quality

FLAT_TOP_RATIO = 2.0
"""Samples at a peak against those of an unclipped sine; clipping 0.2 % of 1900 codes doubles them."""
FLAT_TOP_LEAST = 8
"""Fewer samples at a peak prove nothing."""
GRID_STEPS = 16
"""A record must span this many code spacings before the spacing is taken for the grid of the codes."""


def code_spacing(codes: Codes) -> int:
    """On which grid the codes of a record lie: 1 for a converter, 2 for codes doubled by arithmetic.

    Args:
        codes: shape (n,), converter codes.
    Returns:
        greatest common divisor of the differences between distinct codes, code steps; 1 when fewer than three distinct
        codes are seen.
    Source:
        common practice (tests of code gaps); properties in tests/amplitude/test_quality.py.
    """
    if codes.size == 0:
        return 1
    lowest = int(codes.min())
    seen = np.zeros(int(codes.max()) - lowest + 1, dtype=np.bool_)
    seen[codes.astype(np.intp) - lowest] = True
    # Neighbours among the codes, as in nearly every record, settle it without the divisors of some thousand codes.
    if bool(np.any(seen[1:] & seen[:-1])):
        return 1
    distinct = np.flatnonzero(seen)
    return int(np.gcd.reduce(distinct)) if distinct.size >= 3 else 1


def check_quality(
    codes: Codes, *, low_code: int, high_code: int, fill_low: float, fill_high: float, amplitude_code: float | None
) -> Quality:
    """Whether a record may be judged, and in words why not.

    Clipped means a sample at a rail, or a fill above `fill_high` with a flat top; without a flat top it is sound.
    Codes on a coarser grid (arithmetic gain) may end up to one spacing less one below the upper rail.

    Args:
        codes: shape (n,), n >= 1, raw converter codes.
        low_code: lowest code of the converter.
        high_code: highest code of the converter, > low_code.
        fill_low: least allowed fill (signal span over converter span), ratio.
        fill_high: fill above which a flat top is looked for, ratio.
        amplitude_code: fitted amplitude, codes peak; None takes half the span of the record.
    Returns:
        fill, railed samples, code spacing, the two flags, and the reason; the reason is empty when neither flag is set.
    Raises:
        FitFailed: no samples, or low_code not below high_code.
        NotFinite: a fill or the amplitude is not finite.
    Source:
        common practice: no raw code at a rail, fill 0.5 to 0.9 of the converter span.
    """
    if codes.size == 0:
        raise FitFailed("quality: the record is empty; allowed is one sample or more: fetch it again")
    if not low_code < high_code:
        raise FitFailed(f"quality: low_code {low_code} and high_code {high_code}; allowed is low_code < high_code")
    for name, value in (("fill_low", fill_low), ("fill_high", fill_high), ("amplitude_code", amplitude_code)):
        if value is not None and not math.isfinite(value):
            raise NotFinite(f"quality: {name} is {value!r}; allowed is a finite number")
    lowest, highest = int(codes.min()), int(codes.max())
    span, converter_span = highest - lowest, high_code - low_code + 1
    fill_ratio = span / converter_span
    spacing = code_spacing(codes)
    grid = spacing if span >= GRID_STEPS * spacing else 1
    top_code = high_code - grid + 1
    railed = _railed(codes, low_code, top_code) if lowest <= low_code or highest >= top_code else 0
    reasons = []
    if railed:
        seen = f"codes {lowest} to {highest}, rails {low_code} and {high_code}"
        reasons.append(f"clipped: {railed} of {codes.size} samples at a rail ({seen})")
    elif fill_ratio > fill_high:
        reasons += _flat_top(codes, lowest, highest, grid, amplitude_code, f"{fill_ratio:.3f} is above {fill_high:.3f}")
    clipped, underfilled = bool(reasons), fill_ratio < fill_low
    if underfilled:
        seen = f"{fill_ratio:.3f} is below {fill_low:.3f} (span {span} of {converter_span} codes)"
        reasons.append(f"underfilled: fill {seen}")
    return Quality(
        fill_ratio=fill_ratio,
        railed=railed,
        code_spacing=spacing,
        clipped=clipped,
        underfilled=underfilled,
        reason="; ".join(reasons),
    )


def _railed(codes: Codes, bottom_code: int, top_code: int) -> int:
    return int(np.count_nonzero((codes <= bottom_code) | (codes >= top_code)))


def _flat_top(
    codes: Codes, lowest: int, highest: int, grid: int, amplitude_code: float | None, fill_text: str
) -> list[str]:
    """The reason, when more samples stand at a peak than a sine leaves within one grid step of its peak."""
    amplitude = max(amplitude_code or 0.0, (highest - lowest) / 2.0, 0.5)
    expected = codes.size * math.acos(max(-1.0, 1.0 - grid / amplitude)) / math.pi
    at_peak = int(max(np.count_nonzero(codes == highest), np.count_nonzero(codes == lowest)))
    if at_peak <= max(FLAT_TOP_RATIO * expected, FLAT_TOP_LEAST):
        return []
    return [
        f"clipped: flat top, {at_peak} samples at the peak where a sine leaves {expected:.0f}, and fill {fill_text}"
    ]
