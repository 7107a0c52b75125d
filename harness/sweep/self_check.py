"""Before the ladder: is the source itself right? One factor shared by all channels points to the station."""

from __future__ import annotations

import math

from harness.amplitude import check_quality, fit_sine3
from harness.errors import StationFault
from harness.sweep.hands import Hands
from harness.sweep.journal import Journal
from harness.sweep.plan import SweepPlan
from harness.values import Rung

CHECK_FILL_RATIO = 0.25
"""Fill of the check: a source four times too strong still does not clip."""
ALIKE_PERCENT = 1.5
"""Channels that share one factor agree this well: twice the spread of healthy channels."""
NOISE_WINDOW_RATIO = 1.35
"""The device's noise has moved with a factor, or has stayed, when it is this close to it."""

UNDECIDED = "device and source are not told apart"


def self_check(hands: Hands, plan: SweepPlan, journal: Journal) -> bool:
    """Drive each channel of the ladder gently and compare with the law.

    Returns True when the source is proven good: some channel is as predicted, or the device's own noise shows that the
    device is what changed. False when nothing is proven. StationFault when all channels share a factor that the
    device's own noise does not share.
    """
    checks = _rungs(plan)
    ratios = {rung.setting.channel: ratio for rung in checks if (ratio := _ratio(hands, plan, rung)) is not None}
    hands.off()
    said = ", ".join(f"channel {channel} ×{ratio:.4g}" for channel, ratio in ratios.items())
    journal.note("self-check", f"gain over prediction at {CHECK_FILL_RATIO:g} fill: {said or 'no valid record'}")
    wrong = {c: r for c, r in ratios.items() if abs(100.0 * math.log(r)) > plan.self_check_percent}
    if not ratios:
        return False
    if len(wrong) < len(ratios):
        return True
    logs = [100.0 * math.log(r) for r in wrong.values()]
    if len(ratios) < len(checks) or max(logs) - min(logs) > ALIKE_PERCENT:
        return False
    return _whose(hands, plan, journal, math.exp(sum(logs) / len(logs) / 100.0))


def _rungs(plan: SweepPlan) -> list[Rung]:
    """One rung a channel, near the middle of the ladder: neither millivolts nor the largest level."""
    by_channel: dict[int, list[Rung]] = {}
    for rung in plan.rungs:
        by_channel.setdefault(rung.setting.channel, []).append(rung)
    return [sorted(rungs, key=lambda r: r.drive_vpk)[len(rungs) // 2] for rungs in by_channel.values()]


def _ratio(hands: Hands, plan: SweepPlan, rung: Rung) -> float | None:
    hands.select(rung.setting)
    hands.drive(rung.drive_vpk * CHECK_FILL_RATIO / rung.fill_ratio)
    wave = hands.acquire(rung.setting.channel)
    converter = plan.device.converter
    quality = check_quality(
        wave.codes,
        low_code=converter.low_code,
        high_code=converter.high_code,
        fill_low=0.02,
        fill_high=plan.fill_high,
        amplitude_code=None,
    )
    hands.off()
    if quality.clipped or quality.underfilled:
        return None
    fit = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=hands.frequency_hz)
    input_vpk = hands.level_vpk * plan.input_ratio
    return fit.amplitude_code / (input_vpk * rung.prediction.gain_codes_per_v)


def _whose(hands: Hands, plan: SweepPlan, journal: Journal, ratio: float) -> bool:
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
    hands.select(rung.setting)
    hands.off()
    wave = hands.acquire(rung.setting.channel)
    noise = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=hands.frequency_hz).noise_code
    moved = noise / typical.noise_code
    text += f"; with the source off the device's noise is ×{moved:.3g} of typical"
    if abs(math.log(moved / ratio)) < math.log(NOISE_WINDOW_RATIO) < abs(math.log(moved)):
        journal.note("self-check", f"{text}: noise moved with the gain, so the device is what changed")
        return True
    if abs(math.log(moved)) < math.log(NOISE_WINDOW_RATIO) < abs(math.log(moved / ratio)):
        raise StationFault(
            f"{text}, so the level at its input is wrong: check the source's load setting, terminators and cable",
            fault="source-load-mis-set",
            also=("terminator-wrong", "unit-mix-up"),
        )
    journal.note("self-check", f"{text}: {UNDECIDED}")
    return False
