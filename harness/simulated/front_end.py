"""One channel of the device: relays, register, and the acquisition of a record."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from harness.simulated.cable import Cable
from harness.simulated.converter import convert, multiply, saturate
from harness.simulated.fault import Fault
from harness.simulated.firmware import Plan
from harness.simulated.glide import Glide
from harness.simulated.streams import stream
from harness.simulated.unit import UnitTruth

Samples = npt.NDArray[np.float64]


class FrontEnd:
    """What is true of one channel, whatever the firmware believes."""

    def __init__(
        self, unit: UnitTruth, channel: int, *, seed: int, faults: Sequence[Fault], plan: Plan, now_s: float
    ) -> None:
        self.channel = channel
        self.faults = tuple(fault for fault in faults if fault.touches(channel))
        parts = unit.draw(channel, seed)
        for fault in self.faults:
            parts = fault.parts(parts)
        self.parts = parts
        self.register = unit.power_on_word
        """The word that the gain device holds."""
        self.plan = plan
        self._unit = unit
        self._seed = seed
        self._began_s = now_s
        self._picked = self._picking()
        self._attenuation = Glide(target=parts.relay_gain(self._picked))
        self._amplification = Glide(target=parts.word_gain(self.register))

    @property
    def latched(self) -> bool:
        """Whether latch edges reach the gain device."""
        return all(fault.latch_arrives() for fault in self.faults)

    def take(self, plan: Plan, *, now_s: float) -> bool:
        """Carry out a plan: drive the relays, take the word. True when a relay was told to move."""
        before = self.parts.relays(self.plan.relays, self.plan.word)
        self.plan = plan
        self._move(now_s)
        if self.latched:
            self.take_word(plan.word, now_s=now_s)
        return before != self.parts.relays(plan.relays, plan.word)

    def take_word(self, word: int, *, now_s: float) -> None:
        """Latch a word from the bus."""
        for fault in self.faults:
            word = fault.word_at_pins(word)
        self.register = word
        self._move(now_s)

    def _move(self, now_s: float) -> None:
        """Let the gain settle to what relays and register say."""
        timing = self._unit.timing
        self._picked = self._picking()
        self._attenuation = self._attenuation.moved(
            self.parts.relay_gain(self._picked), now_s=now_s, tau_s=timing.relay_tau_s, bounce_s=timing.bounce_s
        )
        self._amplification = self._amplification.moved(
            self.parts.word_gain(self.register), now_s=now_s, tau_s=timing.fine_tau_s
        )

    def gain_codes_per_v(self) -> float:
        """The settled gain from the device's input to its output codes, at low frequency."""
        ratio = self.plan.codes_ratio * self.plan.hidden_ratio
        return self._attenuation.target * self._amplification.target * self._unit.converter.codes_per_v * ratio

    def acquire(
        self, cable: Cable, *, now_s: float, samples: int, rate_hz: float, counter: int
    ) -> npt.NDArray[np.int16]:
        """A record that starts now; noise and phase follow from the seed and the acquisition counter alone."""
        generator = stream(self._seed, f"channel-{self.channel}/acquisition {counter}")
        parts, converter = self.parts, self._unit.converter
        signal = cable.signal()
        times_s = _ramp(samples, rate_hz) + now_s
        amplification = self._amplification.over(times_s)
        # One pole, at the gain reached at the end of the record.
        corner_hz = parts.corner_hz(self._picked, self.register)
        relative = signal.frequency_hz / corner_hz
        phase_rad = generator.uniform(-math.pi, math.pi) - math.atan(relative)
        sine, cosine = _table(samples, signal.frequency_hz / rate_hz)
        wave = sine * math.cos(phase_rad) + cosine * math.sin(phase_rad)
        wave *= signal.level_v.over(times_s) * cable.ratio / math.hypot(1.0, relative)
        wave += signal.offset_v.over(times_s) * cable.ratio
        wave *= self._attenuation.over(times_s)
        wave += parts.offset_in_v
        wave *= amplification
        wave *= 1.0 + parts.drift_ratio * -math.expm1(-(now_s - self._began_s) / self._unit.spread.drift_tau_s)
        codes = saturate(wave, converter) * converter.codes_per_v + parts.offset_out_code
        noise_in_code = parts.noise_in_v * parts.noise_gain(self._picked, self.register) * converter.codes_per_v
        codes += generator.standard_normal(samples) * math.hypot(noise_in_code, parts.noise_out_code)
        record = convert(codes, parts.thresholds_code, converter.bits)
        for ratio in (self.plan.hidden_ratio, self.plan.codes_ratio):
            record = multiply(record, ratio, converter.bits)
        return record.astype("<i2")

    def _picking(self) -> frozenset[str]:
        picked = self.parts.relays(self.plan.relays, self.register)
        for fault in self.faults:
            picked = fault.relays(picked)
        return picked


@lru_cache(maxsize=16)
def _ramp(samples: int, rate_hz: float) -> Samples:
    ramp = np.arange(samples) / rate_hz
    ramp.setflags(write=False)
    return ramp


@lru_cache(maxsize=16)
def _table(samples: int, cycles_per_sample: float) -> tuple[Samples, Samples]:
    angle = 2.0 * np.pi * cycles_per_sample * np.arange(samples)
    table = np.sin(angle), np.cos(angle)
    for column in table:
        column.setflags(write=False)
    return table
