"""Rule `managed`: just enough guard band to hold the share of shipped bad items at 2 %."""

from __future__ import annotations

import math

from harness.judge.decision.request import Request


def managed(request: Request) -> float:
    """How wide the managed guard band is.

    Args:
        request: its expanded uncertainty and limits count, in the unit of the limits.
    Returns:
        w = U·max(0, 1.04 - exp(0.38·ln TUR - 0.54)), same unit: 0 from TUR 4.6 on. With one limit there is no TUR: U.
    Source:
        handbook to ANSI/NCSL Z540.3, method 6, formula from memory; tests/published/test_guard_band_risk.py.
    """
    tur_ratio = request.tur_ratio
    if tur_ratio is None:
        return request.expanded
    if math.isinf(tur_ratio):
        return 0.0
    return request.expanded * max(0.0, 1.04 - math.exp(0.38 * math.log(tur_ratio) - 0.54))
