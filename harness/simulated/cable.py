"""What joins source and device: the source's own resistance, what really hangs on it, perhaps a pad."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from harness.simulated.fault import Fault
from harness.simulated.glide import Glide


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """What a source puts out now."""

    level_v: Glide
    """Peak of the sine, V into an open circuit."""
    offset_v: Glide
    """V into an open circuit."""
    frequency_hz: float


class SignalSource(Protocol):
    """Anything that puts out a signal."""

    def signal(self) -> Signal:
        """The output as it is now."""
        ...


class Cable:
    """All inputs in parallel on one source, or behind a pad that hangs on it."""

    def __init__(
        self,
        source: SignalSource,
        *,
        source_ohm: float,
        inputs_ohm: float,
        faults: Sequence[Fault],
        pad_ratio: float = 1.0,
    ) -> None:
        self._source = source
        self._source_ohm = source_ohm
        self._inputs_ohm = inputs_ohm
        self._pad_ratio = pad_ratio
        self._faults = tuple(faults)

    @property
    def ratio(self) -> float:
        """Voltage at the device's input over the source's open-circuit voltage."""
        factor = self._pad_ratio
        for fault in self._faults:
            if fault.begun:
                factor *= fault.cable_ratio()
        return factor * self.terminal_ratio

    @property
    def terminal_ratio(self) -> float:
        """Voltage at the source's terminals, where a meter hangs, over its open-circuit voltage."""
        load_ohm = self._inputs_ohm
        for fault in self._faults:
            if fault.begun:
                load_ohm = fault.load_ohm(load_ohm)
        return load_ohm / (load_ohm + self._source_ohm)

    def signal(self) -> Signal:
        """What the source puts out, open circuit."""
        return self._source.signal()
