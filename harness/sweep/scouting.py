"""The gain of a setting of which nothing is known: upward from the least level, every record looked at for clipping."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from harness.amplitude import check_quality, fit_sine3
from harness.errors import MeasureError
from harness.sweep.bench import Bench
from harness.sweep.hands import Hands
from harness.sweep.levelling import MOST_TRIES, Levels, next_level, seen
from harness.sweep.plan import SweepPlan
from harness.values import Quality, Setting

LEAST_FILL = 0.3
"""A record that fills less is taken again at more."""
HALF = 0.5
SAME_RATIO = 0.03
"""At half the level a fixed gain is the same within this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scouted:
    """What one setting was found to do."""

    setting: Setting
    gain_codes_per_v: float | None
    """At the device's input; None where no level gave a sound record."""
    level_vpk: float
    """Of the last record."""
    fill_ratio: float
    """Of the last record."""
    trouble: str
    """Empty; or what is wrong and what to do."""


def scout(bench: Bench, plan: SweepPlan, settings: Sequence[Setting]) -> tuple[Scouted, ...]:
    """Find the gain of some settings, the source off between them and afterwards.

    Levels begin at the source's least and rise by a factor of four at most, never above the plan's limit. A BenchError
    leaves with the source off; what has been found by then is lost.
    """
    hands = Hands(bench, plan)
    try:
        hands.prepare()
        return tuple(_one(hands, plan, setting) for setting in settings)
    finally:
        bench.source.safe_off()
        hands.switched_off()
        hands.rest()


def _one(hands: Hands, plan: SweepPlan, setting: Setting) -> Scouted:
    hands.off()
    hands.select(setting, listen=False)
    levels, level_vpk = Levels(), plan.level_least_vpk
    wanted_vpk: float | None = level_vpk
    for _ in range(MOST_TRIES):
        if wanted_vpk is None:
            break
        level_vpk = wanted_vpk
        gain, quality = _gain(hands, plan, setting, level_vpk)
        if not (quality.clipped or quality.underfilled):
            return replace(_steady(hands, plan, setting, level_vpk, gain), fill_ratio=quality.fill_ratio)
        hands.off()
        levels = seen(levels, level_vpk, quality)
        wanted_vpk = next_level(
            level_vpk, quality, levels,
            fill_target=plan.fill_target, least_vpk=plan.level_least_vpk, most_vpk=plan.level_limit_vpk,
        )  # fmt: skip
    found = None if quality.clipped or quality.fill_ratio < LEAST_FILL / 10.0 else gain
    trouble = _trouble(quality, levels)
    return Scouted(
        setting=setting, gain_codes_per_v=found, level_vpk=level_vpk, fill_ratio=quality.fill_ratio, trouble=trouble
    )


def _steady(hands: Hands, plan: SweepPlan, setting: Setting, level_vpk: float, gain: float | None) -> Scouted:
    """The same gain at half the level, or something changes it."""
    half_vpk = max(level_vpk * HALF, plan.level_least_vpk)
    again, _ = _gain(hands, plan, setting, half_vpk)
    hands.off()
    trouble = ""
    if gain and again and half_vpk < level_vpk and abs(again / gain - 1.0) > SAME_RATIO:
        trouble = (
            f"at {level_vpk:.4g} V peak the gain is {gain:.4g} codes/V, at half of it {again:.4g}: the device ranges "
            "by itself, or limits the signal; switch autoranging off"
        )
    return Scouted(setting=setting, gain_codes_per_v=gain, level_vpk=level_vpk, fill_ratio=0.0, trouble=trouble)


def _gain(hands: Hands, plan: SweepPlan, setting: Setting, level_vpk: float) -> tuple[float | None, Quality]:
    hands.drive(level_vpk)
    wave = hands.acquire(setting.channel)
    converter = plan.device.converter
    quality = check_quality(
        wave.codes, low_code=converter.low_code, high_code=converter.high_code,
        fill_low=LEAST_FILL, fill_high=plan.fill_high, amplitude_code=None,
    )  # fmt: skip
    try:
        fit = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=hands.frequency_hz)
    except MeasureError:
        return None, quality
    input_vpk = hands.true_level_vpk * plan.input_ratio
    return (fit.amplitude_code / input_vpk if input_vpk > 0.0 else None), quality


def _trouble(quality: Quality, levels: Levels) -> str:
    if levels.clipped_vpk is not None and levels.low_vpk is not None:
        return (
            f"clips at {levels.clipped_vpk:.4g} V peak and fills too little at {levels.low_vpk:.4g} V peak: the device "
            "ranges by itself, or limits the signal; switch autoranging off"
        )
    if quality.clipped:
        return "clips even at the least level of the source: put a pad between, and say so in the bench file"
    filled = f"fills only {100.0 * quality.fill_ratio:.2g} % of the converter at the most that is allowed"
    return f"{filled}: the source is too weak here"
