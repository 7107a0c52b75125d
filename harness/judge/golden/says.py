"""A factor that all channels share: a golden unit on the same station tells whose it is."""

from __future__ import annotations

import math

from harness.values import STATION, UNIT, GoldenLook, Outcome

ALIKE_PERCENT = 3.0
"""As of channels that share a factor; see the self-check of the sweep."""


def golden_says(ratio: float, look: GoldenLook | None, *, age_h: float, most_h: float) -> tuple[str, str] | None:
    """Whose a shared factor is.

    Args:
        ratio: measured over predicted that all channels of a unit share, > 0.
        look: the newest golden check on the station; None without one.
        age_h: how old it is, hours.
        most_h: up to which age it tells anything, hours.
    Returns:
        `unit` or `station`, and why; None where the check is too old, still builds its reference, or failed otherwise.
    Source:
        fault dictionary: F35 and T3, T11 differ only in what a golden unit shows.
    """
    if look is None or not 0.0 <= age_h <= most_h:
        return None
    which = f"golden unit {look.unit}, {age_h:.1f} h before (run {look.run_id}),"
    if look.outcome is Outcome.PASS:
        return UNIT, f"{which} was sound on this station, so ×{ratio:.4g} is the unit's own"
    apart_percent = abs(look.common_percent - 100.0 * math.log(ratio))
    if look.outcome is Outcome.FAIL and look.numbers and apart_percent <= ALIKE_PERCENT:
        shown = math.exp(look.common_percent / 100.0)
        return STATION, (
            f"{which} was off by ×{shown:.4g} as well, so ×{ratio:.4g} is the station's: it is locked until a golden "
            "check is sound again; look at source, load, pad, terminators and meter"
        )
    return None
