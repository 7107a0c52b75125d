"""What a count of events says of their share."""

from __future__ import annotations

from harness.errors import NotFinite
from harness.judge.uncertainty.checked import checked


def share_interval(
    events: int, *, trials: int, confidence_ratio: float = 0.95, two_sided: bool = True
) -> tuple[float, float]:
    """Between which bounds the true share of an event lies, after so many trials.

    Args:
        events: seen, 0 to trials.
        trials: >= 1.
        confidence_ratio: 0 to 1, both excluded.
        two_sided: True for an interval; False for two bounds, of which each alone has the confidence.
    Returns:
        lower and upper bound, 0 to 1.
    Raises:
        NotFinite: a number is outside its bounds.
    Source:
        Clopper and Pearson, Biometrika 26, 1934: exact binomial, by quantiles of the beta distribution.
    """
    where = "share interval"
    n = float(checked(where, "trials", trials, least=1.0))
    k = float(checked(where, "events", events, least=0.0, most=n))
    p = float(checked(where, "confidence_ratio", confidence_ratio, least=0.0, most=1.0, open_at="both"))
    if k != int(k) or n != int(n):
        raise NotFinite(f"{where}: {events!r} events of {trials!r} trials; allowed are whole numbers")
    from scipy.special import betaincinv

    tail = (1.0 - p) / 2.0 if two_sided else 1.0 - p
    low = 0.0 if k == 0.0 else float(betaincinv(k, n - k + 1.0, tail))
    high = 1.0 if k == n else float(betaincinv(k + 1.0, n - k, 1.0 - tail))
    return low, high
