"""The parts of one channel, drawn within the spread of good units."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.simulated.parameters import UnitTruth
from harness.simulated.streams import stream, within


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChannelParts:
    """What is soldered into one channel."""

    channel: int
    attenuator_ratio: dict[str, float]
    relay: dict[str, str]
    """The relay that each state of the attenuator drives; empty for none."""
    pregain_ratio: float
    per_code_ratio: float
    bit_error_ratio: tuple[float, ...]
    """Relative error of each bit weight, least significant first."""
    carry_ratio: float
    """Relative step of the gain where the top bit is set."""
    loading_ratio: float
    common_ratio: float
    offset_in_v: float
    """Offset between attenuator and gain stage."""
    offset_out_code: float
    drift_ratio: float
    """Relative change of gain once warm."""
    bandwidth_hz: float
    gain_bandwidth_hz: float
    noise_in_v: float
    noise_out_code: float
    thresholds_code: npt.NDArray[np.float64]
    """Shape (2^bits,): how far each code transition lies from its ideal place, codes."""

    def attenuation(self, picked: frozenset[str]) -> float:
        """The ratio of the attenuator with these relays picked; without any it is straight through."""
        for state, relay in self.relay.items():
            if relay and relay in picked:
                return self.attenuator_ratio[state]
        return next(self.attenuator_ratio[state] for state, relay in self.relay.items() if not relay)

    def amplification(self, word: int) -> float:
        """The gain behind the attenuator, V/V, for the word in the register."""
        bits = len(self.bit_error_ratio)
        weight = sum(2.0**k * (1.0 + error) for k, error in enumerate(self.bit_error_ratio) if word >> k & 1)
        carry = self.carry_ratio if word >> (bits - 1) & 1 else 1.0
        pregain = self.pregain_ratio if word >> bits & 1 else 1.0
        return pregain * self.per_code_ratio * weight * carry * self.loading_ratio * self.common_ratio

    def corner_hz(self, amplification_ratio: float) -> float:
        """The one-pole bandwidth, which falls with the gain."""
        return 1.0 / math.hypot(1.0 / self.bandwidth_hz, amplification_ratio / self.gain_bandwidth_hz)


def draw_parts(unit: UnitTruth, channel: int, seed: int) -> ChannelParts:
    """A good channel: each part from a random stream of its own."""
    gain, spread = unit.gain, unit.spread

    def error(name: str, half_width_percent: float) -> float:
        return within(seed, f"channel-{channel}/{name}", half_width_percent / 100.0)

    half_dnl = unit.converter.dnl_lsb / 2.0
    generator = stream(seed, f"channel-{channel}/converter")
    thresholds = generator.uniform(-half_dnl, half_dnl, 2**unit.converter.bits)
    thresholds.setflags(write=False)
    return ChannelParts(
        channel=channel,
        attenuator_ratio={
            state: ratio * (1.0 + (error(f"attenuator {state}", spread.attenuator_percent) if ratio != 1.0 else 0.0))
            for state, ratio in gain.attenuator_ratio.items()
        },
        relay=dict(gain.relay),
        pregain_ratio=gain.pregain_ratio * (1.0 + error("pre-gain", spread.pregain_percent)),
        per_code_ratio=gain.per_code_ratio,
        bit_error_ratio=tuple(error(f"bit {k}", spread.bit_percent) for k in range(gain.code_bits)),
        carry_ratio=1.0 + error("major carry", spread.carry_percent),
        loading_ratio=gain.loading_ratio,
        common_ratio=math.exp(error("common", spread.common_percent)),
        offset_in_v=within(seed, f"channel-{channel}/offset in", spread.offset_in_v),
        offset_out_code=within(seed, f"channel-{channel}/offset out", spread.offset_out_code),
        drift_ratio=error("drift", spread.drift_percent),
        bandwidth_hz=gain.bandwidth_hz,
        gain_bandwidth_hz=gain.gain_bandwidth_hz,
        noise_in_v=unit.noise.input_v,
        noise_out_code=unit.noise.converter_code,
        thresholds_code=thresholds,
    )
