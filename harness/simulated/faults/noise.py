"""Faults that add something to the wave: noise, lines, oscillation."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from harness.simulated.converter import Samples
from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.parts import ChannelParts
from harness.simulated.scene import Scene

_LEVEL = "peak, dB of the converter's full scale"
_SILENT_BELOW = 0.25
"""Share of the highest gain below which nothing oscillates."""


class ExcessNoise(Fault):
    """Everything is noisier than it should be."""

    entry = FaultEntry(
        id="F40",
        name="excess-noise",
        kind="product",
        does="the first stage and the one before the converter are noisier than designed",
        shows="noise up by the size, at the input as well as at low gain; gain right on average",
        size="factor of the noise",
        default_size=3.0,
        low=0.0,
        high=1000.0,
    )

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """Noisy ones."""
        factor = 1.0 if self.size is None else self.size
        return replace(parts, noise_in_v=parts.noise_in_v * factor, noise_out_code=parts.noise_out_code * factor)


def _tone(times_s: Samples, frequency_hz: float, level_db: float, full_code: float) -> Samples:
    peak_code = full_code * 10.0 ** (level_db / 20.0)
    return np.asarray(peak_code * np.sin(2.0 * np.pi * frequency_hz * times_s), dtype=np.float64)


class MainsOrSupplyLine(Fault):
    """A line of the mains or of a supply."""

    entry = FaultEntry(
        id="F41",
        name="mains-or-supply-line",
        kind="product",
        does="the mains or a switching supply couples into the signal behind the gain",
        shows="a line in the spectrum, the same at all gains; no error of a sine fit",
        size=_LEVEL,
        default_size=-40.0,
        low=-120.0,
        high=0.0,
        second="frequency, Hz",
        default_second=50.0,
        second_low=1.0,
        second_high=1.0e6,
    )

    def added_code(self, times_s: Samples, scene: Scene, full_code: float) -> Samples | float:
        """It runs on whatever is measured."""
        del scene
        return _tone(times_s, self.second or 0.0, self.size or 0.0, full_code)


class Oscillation(Fault):
    """An amplifier oscillates at high gain."""

    entry = FaultEntry(
        id="F42",
        name="oscillation",
        kind="product",
        does="the gain stage oscillates where its gain is more than a quarter of the highest",
        shows="a tone without any input, at high gain only",
        size=_LEVEL,
        default_size=-20.0,
        low=-120.0,
        high=0.0,
        second="frequency, Hz",
        default_second=131.0e3,
        second_low=1.0,
        second_high=1.0e6,
    )

    def added_code(self, times_s: Samples, scene: Scene, full_code: float) -> Samples | float:
        """Only at high gain."""
        if scene.word_gain_ratio < _SILENT_BELOW * scene.most_gain_ratio:
            return 0.0
        return _tone(times_s, self.second or 0.0, self.size or 0.0, full_code)


FAULTS: Final[tuple[type[Fault], ...]] = (ExcessNoise, MainsOrSupplyLine, Oscillation)
