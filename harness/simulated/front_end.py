"""One channel of the device: relays, register, and the acquisition of a record."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from harness.simulated.beside import Beside
from harness.simulated.cable import Cable, Signal
from harness.simulated.climate import Climate
from harness.simulated.converter import Integers, convert, multiply, saturate
from harness.simulated.fault import Fault
from harness.simulated.firmware import Plan
from harness.simulated.glide import Glide
from harness.simulated.scene import Scene
from harness.simulated.streams import Seed, stream
from harness.simulated.unit import UnitTruth

Samples = npt.NDArray[np.float64]


class FrontEnd:
    """What is true of one channel, whatever the firmware believes."""

    def __init__(
        self,
        unit: UnitTruth,
        channel: int,
        *,
        seed: Seed,
        faults: Sequence[Fault],
        plan: Plan,
        climate: Climate,
        now_s: float,
    ) -> None:
        self.channel = channel
        self.faults = tuple(fault for fault in faults if fault.touches(channel))
        self.register = unit.power_on_word
        """The word that the gain device holds."""
        self.plan = plan
        self.toggles: dict[str, int] = {}
        """How often each relay has moved since power on."""
        self.others: tuple[FrontEnd, ...] = ()
        """The other channels of the unit that hang on the same source."""
        self.beside: Beside | None = None
        """The source of another channel, where this channel can hear it."""
        self.driven_beside: FrontEnd | None = None
        """That channel."""
        self._unit = unit
        self._seed = seed
        self._climate = climate
        self._good = unit.draw(channel, seed)
        self._moved_s = -math.inf
        self.held: tuple[Fault, ...] = ()
        """Faults that show in the signal path now."""
        self.plan_before = plan
        self._hold()
        self._attenuation = Glide(target=self.parts.relay_gain(self._picked))
        self._amplification = Glide(target=self.parts.word_gain(self.register))

    def begin_record(self, *, now_s: float) -> None:
        """A record of some channel begins: faults that come and go show, or not, from now on."""
        if not self.faults:
            return
        for fault in self.faults:
            fault.begin_record(self.channel)
            if fault.resets():
                self.register = self._unit.power_on_word
        self._hold()
        self._move(now_s)

    def drive(self, plan: Plan, *, now_s: float) -> bool:
        """Drive the relays of a plan; its word comes over the bus. True when a relay was told to move."""
        before = self.parts.relays(self.plan.relays, self.plan.word)
        if plan != self.plan:
            self.plan, self.plan_before = plan, self.plan
        if self.faults:
            self._hold()
        self._move(now_s)
        return before != self.parts.relays(plan.relays, plan.word)

    def take_word(self, word: int, *, now_s: float) -> None:
        """Latch a word from the bus."""
        self.register = word
        self._move(now_s)

    def _hold(self) -> None:
        """Put in the parts that are there now, good or faulty."""
        held = tuple(fault for fault in self.faults if fault.holds(self.channel))
        if held == self.held and hasattr(self, "parts"):
            return
        self.held = held
        parts, timing = self._good, self._unit.timing
        for fault in held:
            parts, timing = fault.parts(parts), fault.timing(timing)
        self.parts, self._timing = parts, timing
        self._picked = self._picking()

    def _move(self, now_s: float) -> None:
        """Let the gain settle to what relays and register say."""
        timing, before = self._timing, self._picked
        self._picked = self._picking()
        for relay in before ^ self._picked:
            self.toggles[relay] = self.toggles.get(relay, 0) + 1
        relay_gain, word_gain = self.parts.relay_gain(self._picked), self.parts.word_gain(self.register)
        if self.held:
            toggles = sum(self.toggles.values())
            for fault in self.held:
                relay_gain *= fault.relay_ratio(self.channel, self._picked, toggles)
        if (relay_gain, word_gain) == (self._attenuation.target, self._amplification.target):
            return
        self._moved_s = now_s
        self._attenuation = self._attenuation.moved(
            relay_gain, now_s=now_s, tau_s=timing.relay_tau_s, bounce_s=timing.bounce_s
        )
        self._amplification = self._amplification.moved(word_gain, now_s=now_s, tau_s=timing.fine_tau_s)

    @property
    def corner_hz(self) -> float:
        """The bandwidth now."""
        return self.parts.corner_hz(self._picked, self.register)

    @property
    def gain_ratio(self) -> float:
        """The settled gain from the input to the converter, V/V."""
        return self._attenuation.target * self._amplification.target

    def gain_codes_per_v(self) -> float:
        """The settled gain from input to output codes, at low frequency and at the reference temperature."""
        ratio = self.plan.codes_ratio * self.plan.hidden_ratio
        return self.gain_ratio * self._unit.converter.codes_per_v * ratio

    def acquire(
        self, cable: Cable, *, now_s: float, samples: int, rate_hz: float, counter: int
    ) -> npt.NDArray[np.int16]:
        """A record that starts now; noise and phase follow from the seed and the acquisition counter alone."""
        averages = math.prod(fault.averages() for fault in self.held) if self.held else 1
        record = self._record(cable.signal(), cable.ratio, now_s, samples, rate_hz, f"{counter}")
        if averages > 1:
            total = record.astype(np.int64)
            for more in range(1, averages):
                total += self._record(cable.signal(), cable.ratio, now_s, samples, rate_hz, f"{counter}+{more}")
            record = np.asarray(np.rint(total / averages), dtype=np.int64)
        return record.astype("<i2")

    def _record(
        self, signal: Signal, cable_ratio: float, now_s: float, samples: int, rate_hz: float, name: str
    ) -> Integers:
        # Records that are averaged are triggered alike: one phase for all of them.
        first = stream(self._seed, f"channel-{self.channel}/acquisition {name.partition('+')[0]}")
        phase_rad = first.uniform(-math.pi, math.pi)
        noise = first if "+" not in name else stream(self._seed, f"channel-{self.channel}/acquisition {name}")
        parts, converter, held = self.parts, self._unit.converter, self.held
        times_s = _ramp(samples, rate_hz) + now_s
        # One pole, at the gain reached at the end of the record.
        relative = signal.frequency_hz / parts.corner_hz(self._picked, self.register)
        phase_rad -= math.atan(relative)
        sine, cosine = _table(samples, signal.frequency_hz / rate_hz)
        wave = sine * math.cos(phase_rad) + cosine * math.sin(phase_rad)
        wave *= signal.level_v.over(times_s) * cable_ratio / math.hypot(1.0, relative)
        if self._unit.coupling == "dc":
            wave += signal.offset_v.over(times_s) * cable_ratio
        wave *= self._attenuation.over(times_s)
        wave += parts.offset_in_v
        wave *= self._amplification.over(times_s)
        warmer_k = self._climate.warmer_k(now_s)
        wave *= self._drift(now_s, warmer_k)
        full_code = 2.0 ** (converter.bits - 1)
        if held:
            scene = self._scene(signal.frequency_hz, now_s, warmer_k)
            wave *= math.prod(fault.gain_ratio(scene) for fault in held)
            for fault in held:
                wave = fault.bend(wave, full_code / converter.codes_per_v)
        if self.beside is not None and self.driven_beside is not None:
            wave += self.beside.leak_v(self.driven_beside, held, times_s)
        codes = saturate(wave, converter) * converter.codes_per_v + parts.offset_out_code
        noise_in_code = parts.noise_in_v * parts.noise_gain(self._picked, self.register) * converter.codes_per_v
        codes += noise.standard_normal(samples) * math.hypot(noise_in_code, parts.noise_out_code)
        for fault in held:
            codes = codes * fault.converter_ratio() + fault.added_code(times_s, scene, full_code)
        record = convert(codes, parts.thresholds_code, converter.bits)
        for fault in held:
            record = fault.converted(record)
        for ratio in (self.plan.hidden_ratio, self.plan.codes_ratio):
            record = multiply(record, ratio, converter.bits, crops=converter.crops)
        return record

    def _drift(self, now_s: float, warmer_k: float) -> float:
        """Warm-up after power on, and what temperature does to gain and relays' parts."""
        parts = self.parts
        warm = 1.0 + parts.drift_ratio * -math.expm1(-self._climate.elapsed_s(now_s) / self._unit.spread.drift_tau_s)
        per_k = parts.tempco_per_k + sum(parts.relay_tempco_per_k.get(relay, 0.0) for relay in self._picked)
        return warm * (1.0 + per_k * warmer_k) * self._climate.feed_ratio

    def _scene(self, frequency_hz: float, now_s: float, warmer_k: float) -> Scene:
        return Scene(
            channel=self.channel,
            now_s=now_s,
            elapsed_s=self._climate.elapsed_s(now_s),
            warmer_k=warmer_k,
            since_move_s=now_s - self._moved_s,
            frequency_hz=frequency_hz,
            picked=self._picked,
            word=self.register,
            word_gain_ratio=self._amplification.target,
            own_gain_ratio=self.gain_ratio,
            other_gain_ratio=sum(other.gain_ratio for other in self.others),
            most_gain_ratio=self.parts.word_gain(self._unit.most_word),
        )

    def _picking(self) -> frozenset[str]:
        picked = self.parts.relays(self.plan.relays, self.register)
        for fault in self.held:
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
