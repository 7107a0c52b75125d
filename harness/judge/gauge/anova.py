"""Gauge R&R by analysis of variance."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.judge.gauge.spread import GaugeSpread
from harness.judge.gauge.table import GaugeTable

POOL_ABOVE = 0.05
"""An interaction that chance explains with more than this probability is pooled with repeatability."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Anova:
    """The table of a crossed study; sums of squares in the square of the unit."""

    ss_appraiser: float
    ss_part: float
    ss_interaction: float
    ss_repeat: float
    ss_total: float
    f_interaction: float
    """Infinite where nothing but interaction scatters."""
    p_interaction: float
    pooled: bool
    interaction: float
    """Standard deviation of the interaction, a part of reproducibility; 0 where it was pooled."""
    spread: GaugeSpread


def anova_study(table: GaugeTable) -> Anova:
    """Gauge R&R by analysis of variance, parts and appraisers random and crossed.

    Args:
        table: the readings.
    Returns:
        the table of variances; a negative estimate counts as 0.
    Raises:
        MeasureError: all readings of each part are equal.
    Source:
        AIAG, Measurement Systems Analysis, 4th ed., chapter III-B and appendix A; Montgomery, Design and Analysis of
        Experiments, two-factor random model.
    """
    values = table.values
    parts, appraisers, trials = values.shape
    mean, cells = values.mean(), values.mean(axis=2)
    by_part, by_appraiser = values.mean(axis=(1, 2)), values.mean(axis=(0, 2))
    ss_part = float(appraisers * trials * ((by_part - mean) ** 2).sum())
    ss_appraiser = float(parts * trials * ((by_appraiser - mean) ** 2).sum())
    both = cells - by_part[:, None] - by_appraiser[None, :] + mean
    ss_interaction = float(trials * (both**2).sum())
    ss_repeat = float(((values - cells[:, :, None]) ** 2).sum())
    free_both, free_repeat = (parts - 1) * (appraisers - 1), parts * appraisers * (trials - 1)
    ms_both, ms_repeat = ss_interaction / free_both, ss_repeat / free_repeat
    f_ratio, chance = _f_test(ms_both, ms_repeat, free_both, free_repeat)
    pooled = chance > POOL_ABOVE
    if pooled:
        ms_repeat = ms_both = (ss_interaction + ss_repeat) / (free_both + free_repeat)
    interaction_square = max((ms_both - ms_repeat) / trials, 0.0)
    av_square = max((ss_appraiser / (appraisers - 1) - ms_both) / (parts * trials), 0.0)
    pv_square = max((ss_part / (parts - 1) - ms_both) / (appraisers * trials), 0.0)
    return Anova(
        ss_appraiser=ss_appraiser,
        ss_part=ss_part,
        ss_interaction=ss_interaction,
        ss_repeat=ss_repeat,
        ss_total=float(((values - mean) ** 2).sum()),
        f_interaction=f_ratio,
        p_interaction=chance,
        pooled=pooled,
        interaction=math.sqrt(interaction_square),
        spread=GaugeSpread(
            ev=math.sqrt(ms_repeat), av=math.sqrt(av_square + interaction_square), pv=math.sqrt(pv_square)
        ),
    )


def _f_test(upper: float, lower: float, free_upper: int, free_lower: int) -> tuple[float, float]:
    """F and the probability that chance makes it so large; without any scatter chance explains all."""
    if lower <= 0.0:
        return (math.inf, 0.0) if upper > 0.0 else (0.0, 1.0)
    from scipy.stats import f

    ratio = upper / lower
    return ratio, float(f.sf(ratio, free_upper, free_lower))
