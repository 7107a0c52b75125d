"""Readings of the self-check: small levels, nothing recorded, the gain as a factor of the prediction."""

from __future__ import annotations

import math

from harness.amplitude import check_quality, fit_sine3, start_unrest
from harness.sweep.hands import Hands
from harness.sweep.levelling import DOWN_RATIO
from harness.sweep.plan import SweepPlan
from harness.values import Capture, Quality, Rung, Setting, Waveform

FILL_RATIO = 0.25
"""Fill of the check: a gain or a source nearly four times too strong still does not clip."""
LEAST_FILL_RATIO = 0.02
"""Below this fill the record of the check says nothing."""
MOST_STEPS_DOWN = 6
"""Steps to a quarter after a clip: a level that is wrong by a thousand is still found."""


class Gentle:
    """Drives settings of the plan at a small level, never above the rung's own, and reads them."""

    def __init__(self, hands: Hands, plan: SweepPlan) -> None:
        self.hands = hands
        self.plan = plan
        self.meter_ratio: dict[str, float] = {}
        """Level by the meter over that of the source, at the readings of `ratio`, by label; empty without a meter."""
        self.start_unrest = 1.0
        """How much more the fit of the last valid record left at its start than later; see `start_unrest`."""

    def set(self, setting: Setting) -> None:
        """Set the device; nobody listens to the bus."""
        self.hands.select(setting, listen=False)

    def heard(self, setting: Setting) -> Capture | None:
        """Set the device and tell what the adapter heard of it; None without one, or where it heard nothing."""
        selected = self.hands.select(setting)
        self.hands.hear(selected)
        return selected.capture

    def ratio(self, rung: Rung) -> float | None:
        """Gain over prediction, at a lower level where the record clips; the source is off afterwards.

        None without a valid record.
        """
        self.set(rung.setting)
        level_vpk = self.level_vpk(rung)
        for _ in range(MOST_STEPS_DOWN):
            self.hands.drive(level_vpk)
            wave = self.hands.acquire(rung.setting.channel)
            input_vpk = self.input_vpk
            if self.hands.meter_vpk is not None and self.hands.level_vpk > 0.0 < self.hands.meter_vpk:
                self.meter_ratio[rung.prediction.label] = self.hands.true_level_vpk / self.hands.level_vpk
            self.hands.off()
            if not self._quality(wave).clipped or level_vpk <= self.plan.level_least_vpk:
                break
            level_vpk = max(float(f"{level_vpk * DOWN_RATIO:.4g}"), self.plan.level_least_vpk)
        return self._ratio(wave, rung, input_vpk)

    def level_vpk(self, rung: Rung) -> float:
        """The small level for a setting, V peak."""
        gentle_vpk = rung.drive_vpk * min(FILL_RATIO / rung.fill_ratio, 1.0)
        return max(float(f"{gentle_vpk:.4g}"), self.plan.level_least_vpk)

    def read(self, rung: Rung) -> float | None:
        """Gain over prediction at the small level, all left as it is and the source on; None without a valid record."""
        self.hands.drive(self.level_vpk(rung))
        wave = self.hands.acquire(rung.setting.channel)
        return self._ratio(wave, rung, self.input_vpk)

    def amplitude_code(self, channel: int) -> float | None:
        """What a channel shows as everything is set now, however little, codes peak; None of a record that clips."""
        wave = self.hands.acquire(channel)
        if self._quality(wave).clipped:
            return None
        hz = self.hands.frequency_hz
        return fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=hz).amplitude_code

    @property
    def input_vpk(self) -> float:
        """The level at the device's input by the source or, where there is one, the meter."""
        return self.hands.true_level_vpk * self.plan.input_ratio

    def _ratio(self, wave: Waveform, rung: Rung, input_vpk: float) -> float | None:
        quality = self._quality(wave)
        if quality.clipped or quality.underfilled:
            return None
        fit = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=self.hands.frequency_hz)
        self.start_unrest = start_unrest(
            wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=self.hands.frequency_hz, fit=fit
        )
        ratio = fit.amplitude_code / (input_vpk * rung.prediction.gain_codes_per_v)
        return ratio if ratio > 0.0 else None

    def _quality(self, wave: Waveform) -> Quality:
        converter = self.plan.device.converter
        return check_quality(
            wave.codes,
            low_code=converter.low_code,
            high_code=converter.high_code,
            fill_low=LEAST_FILL_RATIO,
            fill_high=self.plan.fill_high,
            amplitude_code=None,
        )


def percent(ratio: float) -> float:
    """A ratio as 100·ln."""
    return 100.0 * math.log(ratio)
