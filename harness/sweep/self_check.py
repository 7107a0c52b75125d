"""Before the ladder: is the source itself right? One factor shared by all channels and ranges points to the station."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.amplitude import check_quality, fit_sine3
from harness.errors import StationFault
from harness.sweep.hands import Hands
from harness.sweep.journal import Journal
from harness.sweep.plan import SweepPlan
from harness.values import Rung

CHECK_FILL_RATIO = 0.25
"""Fill of the check: a gain or a source nearly four times too strong still does not clip."""
LEAST_FILL_RATIO = 0.02
"""Below this fill the record of the check says nothing."""
ALIKE_PERCENT = 3.0
"""Channels and ranges that share one factor agree this well: healthy ones mostly lie within 1 % of the law."""
NOISE_WINDOW_RATIO = 1.35
"""The device's noise has moved with a factor, or has stayed, when it is this close to it."""

UNDECIDED = "device and source are not told apart"


def self_check(hands: Hands, plan: SweepPlan, journal: Journal) -> bool:
    """Drive each channel of the ladder gently and compare with the law.

    Returns True when the source is proven good: some channel is as predicted in some range, or the device's own noise
    shows that the device is what changed. False when nothing is proven. StationFault when all channels and ranges share
    a factor that the device's own noise does not share.
    """
    middles = _middles(plan.rungs)
    found = {rung.prediction.label: _ratio(hands, plan, rung) for rung in middles}
    proven = any(_as_predicted(ratio, plan) for ratio in found.values())
    if not proven:
        # A relay or a pre-gain that is wrong moves some ranges, a wrong source moves all of them.
        for rung in _other_ranges(plan.rungs, middles):
            found[rung.prediction.label] = ratio = _ratio(hands, plan, rung)
            if proven := _as_predicted(ratio, plan):
                break
    said = ", ".join(f"{label} {'no valid record' if r is None else f'×{r:.4g}'}" for label, r in found.items())
    journal.note("self-check", f"gain over prediction at {CHECK_FILL_RATIO:g} fill: {said}")
    if proven:
        return True
    logs_percent = [100.0 * math.log(ratio) for ratio in found.values() if ratio is not None]
    everywhere = all(found[rung.prediction.label] is not None for rung in middles)
    if not everywhere or max(logs_percent) - min(logs_percent) > ALIKE_PERCENT:
        return False
    return _is_the_device(hands, plan, journal, math.exp(sum(logs_percent) / len(logs_percent) / 100.0))


def _as_predicted(ratio: float | None, plan: SweepPlan) -> bool:
    return ratio is not None and abs(100.0 * math.log(ratio)) <= plan.self_check_percent


def _middles(rungs: Sequence[Rung]) -> list[Rung]:
    """One rung a channel, near the middle of the ladder: neither millivolts nor the largest level."""
    by_channel: dict[int, list[Rung]] = {}
    for rung in rungs:
        by_channel.setdefault(rung.setting.channel, []).append(rung)
    return [sorted(own, key=lambda r: r.drive_vpk)[len(own) // 2] for own in by_channel.values()]


def _other_ranges(rungs: Sequence[Rung], known: Sequence[Rung]) -> list[Rung]:
    """One rung of each range that is not known yet."""
    ranges = {(rung.setting.channel, rung.setting.coarse): rung for rung in rungs}
    for rung in known:
        del ranges[rung.setting.channel, rung.setting.coarse]
    return list(ranges.values())


def _ratio(hands: Hands, plan: SweepPlan, rung: Rung) -> float | None:
    """Gain over prediction at a small level, never above the rung's own; None without a valid record."""
    hands.select(rung.setting)
    gentle_vpk = rung.drive_vpk * min(CHECK_FILL_RATIO / rung.fill_ratio, 1.0)
    hands.drive(max(float(f"{gentle_vpk:.4g}"), plan.level_least_vpk))
    wave = hands.acquire(rung.setting.channel)
    input_vpk = hands.true_level_vpk * plan.input_ratio
    hands.off()
    converter = plan.device.converter
    quality = check_quality(
        wave.codes,
        low_code=converter.low_code,
        high_code=converter.high_code,
        fill_low=LEAST_FILL_RATIO,
        fill_high=plan.fill_high,
        amplitude_code=None,
    )
    if quality.clipped or quality.underfilled:
        return None
    fit = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=hands.frequency_hz)
    ratio = fit.amplitude_code / (input_vpk * rung.prediction.gain_codes_per_v)
    return ratio if ratio > 0.0 else None


def _is_the_device(hands: Hands, plan: SweepPlan, journal: Journal, ratio: float) -> bool:
    """All channels share a factor. With the source off, only the device's own noise is left: has it moved too?"""
    typical = plan.device.quiet_noise
    text = f"all channels are off by ×{ratio:.4g}"
    if typical is None:
        journal.note("self-check", f"{text}; no [quiet_noise] in the device file: {UNDECIDED}")
        return False
    rung = next((r for r in plan.rungs if (r.setting.coarse, r.setting.fine) == typical.place(plan.device)), None)
    if rung is None:
        journal.note("self-check", f"{text}; quiet-noise setting not in the ladder: {UNDECIDED}")
        return False
    hands.off()
    hands.select(rung.setting)
    wave = hands.acquire(rung.setting.channel)
    noise_code = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=hands.frequency_hz).noise_code
    moved = noise_code / typical.noise_code
    text += f"; with the source off the device's noise is ×{moved:.3g} of typical"
    with_gain, stayed = _near(moved, ratio), _near(moved, 1.0)
    if with_gain and not stayed:
        journal.note("self-check", f"{text}: noise moved with the gain, so the device is what changed")
        return True
    if stayed and not with_gain:
        raise StationFault(
            f"{text}, so the level at its input is wrong: check the source's load setting, terminators and cable",
            fault="source-load-mis-set",
            also=("terminator-wrong", "unit-mix-up"),
        )
    journal.note("self-check", f"{text}: {UNDECIDED}")
    return False


def _near(ratio: float, other: float) -> bool:
    return ratio > 0.0 and abs(math.log(ratio / other)) < math.log(NOISE_WINDOW_RATIO)
