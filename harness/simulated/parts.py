"""The parts of one channel, drawn within the spread of good units."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypedDict

import numpy as np
import numpy.typing as npt

from harness.simulated.streams import Seed, stream, within

if TYPE_CHECKING:
    from harness.simulated.unit import UnitTruth

Thresholds = npt.NDArray[np.float64]


class CommonParts(TypedDict):
    """What every channel of every device has."""

    channel: int
    common_ratio: float
    offset_in_v: float
    offset_out_code: float
    drift_ratio: float
    noise_in_v: float
    noise_out_code: float
    thresholds_code: Thresholds
    tempco_per_k: float
    relay_tempco_per_k: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChannelParts(ABC):
    """What is soldered into one channel. Its gain is that of the relays times that of the word."""

    channel: int
    common_ratio: float
    loading_ratio: float
    """What the load leaves of the output."""
    pregain_ratio: float
    """Of the fixed stage that one bit of the word switches in."""
    offset_in_v: float
    """Offset where noise enters too."""
    offset_out_code: float
    drift_ratio: float
    """Relative change of gain once warm."""
    noise_in_v: float
    noise_out_code: float
    thresholds_code: Thresholds
    """Shape (2^bits,): how far each code transition lies from its ideal place, codes."""
    tempco_per_k: float
    """Relative change of the gain for each kelvin."""
    relay_tempco_per_k: Mapping[str, float]
    """The same of what each relay switches in."""

    def relays(self, driven: frozenset[str], word: int) -> frozenset[str]:
        """The relays that carry current: those that the firmware drives, or those that the word selects."""
        del word
        return driven

    def relay_gain(self, picked: frozenset[str]) -> float:
        """The gain that relays switch, V/V; 1 without relays."""
        del picked
        return 1.0

    @abstractmethod
    def with_bit(self, bit: int, error_ratio: float) -> ChannelParts:
        """The same with another weight of one bit of the code."""

    @abstractmethod
    def with_carry(self, error_ratio: float) -> ChannelParts:
        """The same with another step of the gain where the top bit of the code comes in."""

    @abstractmethod
    def word_gain(self, word: int) -> float:
        """The gain that the word in the register sets, V/V."""

    @abstractmethod
    def corner_hz(self, picked: frozenset[str], word: int) -> float:
        """The one-pole bandwidth at a state."""

    def noise_gain(self, picked: frozenset[str], word: int) -> float:
        """The gain from where noise enters; relays stand before it unless a device says otherwise."""
        del picked
        return self.word_gain(word)


def common_parts(unit: UnitTruth, channel: int, seed: Seed) -> CommonParts:
    """The parts that do not depend on the kind of device, each from a random stream of its own."""
    spread = unit.spread
    half_dnl = unit.converter.dnl_lsb / 2.0
    generator = stream(seed, f"channel-{channel}/converter")
    thresholds = generator.uniform(-half_dnl, half_dnl, 2**unit.converter.bits)
    thresholds.setflags(write=False)
    return CommonParts(
        channel=channel,
        common_ratio=math.exp(error(seed, channel, "common", spread.common_percent)),
        offset_in_v=within(seed, f"channel-{channel}/offset in", spread.offset_in_v),
        offset_out_code=within(seed, f"channel-{channel}/offset out", spread.offset_out_code),
        drift_ratio=error(seed, channel, "drift", spread.drift_percent),
        noise_in_v=unit.noise.input_v,
        noise_out_code=unit.noise.converter_code,
        thresholds_code=thresholds,
        tempco_per_k=within(seed, f"channel-{channel}/tempco", spread.tempco_ppm * 1e-6),
        relay_tempco_per_k={
            relay: within(seed, f"channel-{channel}/tempco {relay}", spread.relay_tempco_ppm * 1e-6)
            for relay in unit.relay_names
        },
    )


def error(seed: Seed, channel: int, name: str, half_width_percent: float) -> float:
    """Relative error of a channel's part, by the part's name."""
    return within(seed, f"channel-{channel}/{name}", half_width_percent / 100.0)
