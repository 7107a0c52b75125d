"""Another source on a channel of its own, and what the other channels hear of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from harness.simulated.cable import Cable
from harness.simulated.fault import Fault

Samples = npt.NDArray[np.float64]


class Driven(Protocol):
    """The channel that the other source drives."""

    @property
    def gain_ratio(self) -> float:
        """The settled gain from the input to the converter, V/V."""
        ...

    @property
    def corner_hz(self) -> float:
        """Its bandwidth now."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Beside:
    """A source of one channel; the outputs of the channels couple."""

    channel: int
    cable: Cable
    coupling_ratio: float
    """Share of that channel's output that a good unit lets into another one's."""

    def leak_v(self, driven: Driven, faults: Sequence[Fault], times_s: Samples) -> Samples | float:
        """What another channel hears at its converter, V, when these faults hold in it."""
        signal = self.cable.signal()
        share = self.coupling_ratio + sum(fault.coupling_ratio() for fault in faults)
        if share == 0.0 or signal.level_v.target == 0.0:
            return 0.0
        output = share * self.cable.ratio * driven.gain_ratio / math.hypot(1.0, signal.frequency_hz / driven.corner_hz)
        angle = 2.0 * np.pi * signal.frequency_hz * times_s
        return np.asarray(output * signal.level_v.over(times_s) * np.sin(angle), dtype=np.float64)
