"""A simulated device with firmware: commands set coarse and fine, and every change rewrites all words."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from harness.bench import Clock
from harness.simulated.beside import Beside
from harness.simulated.bus import Bus
from harness.simulated.bus_traffic import Frame
from harness.simulated.cable import Cable
from harness.simulated.climate import Climate
from harness.simulated.constants import Constants
from harness.simulated.course import Course
from harness.simulated.device import SimulatedDevice
from harness.simulated.error_list import Refusal
from harness.simulated.fault import Fault
from harness.simulated.firmware import Plan, Request
from harness.simulated.streams import Seed, within
from harness.simulated.tree import Suffixes
from harness.simulated.unit import Axis, UnitTruth
from harness.simulated.value import Number, Span, shown

Positions = dict[int, int]
"""Index by channel."""


class CommandedDevice(SimulatedDevice):
    """Coarse and fine of each channel, one command each."""

    def __init__(
        self,
        truth: UnitTruth,
        clock: Clock,
        *,
        axes: tuple[Axis, Axis],
        seed: Seed,
        faults: Sequence[Fault],
        cable: Cable,
        bus: Bus,
        climate: Climate | None = None,
        course: Course | None = None,
        beside: Beside | None = None,
    ) -> None:
        super().__init__(
            truth, clock,
            seed=seed, faults=faults, cable=cable, bus=bus, climate=climate, course=course, beside=beside,
        )  # fmt: skip
        self._middle = (len(axes[0].values) // 2, len(axes[1].values) // 2)
        self._plan = lru_cache(4096)(truth.plan)
        self._coarse: Positions = dict.fromkeys(self.front_ends, 0)
        self._fine: Positions = dict.fromkeys(self.front_ends, 0)
        middle = 2**truth.bus.bias_bits // 2
        self._bias_word = middle + round(within(seed, "unit/bias", truth.spread.bias_word))
        for axis, positions in zip(axes, (self._coarse, self._fine), strict=True):
            self._command(axis, positions)
        self.constants = Constants(self.tree, axes[0], self.front_ends) if truth.keeps_constants else None

    def reset(self) -> None:
        """Least sensitive range, all words written, the record forgotten."""
        super().reset()
        for channel in self.front_ends:
            self._coarse[channel] = self._fine[channel] = 0
        self._write()

    def displayed_v_per_code(self, channel: int) -> float:
        """With the constant of the range."""
        nominal = super().displayed_v_per_code(channel)
        if self.constants is None:
            return nominal
        return nominal / self.constants.at(channel, self._coarse[channel]).gain_ratio

    def _command(self, axis: Axis, positions: Positions) -> None:
        span = Span(low=min(axis.values), high=max(axis.values), default=axis.values[0])

        def put(suffixes: Suffixes, value: float) -> None:
            place = _position(axis.values, value)
            for fault in self.front_ends[suffixes[0]].faults:
                place = fault.position(place, coarse=positions is self._coarse)
            positions[suffixes[0]] = place
            self._write()

        self.tree.number(
            axis.pattern,
            Number(units=axis.units),
            lambda _: span,
            get=lambda suffixes: axis.values[positions[suffixes[0]]],
            put=put,
        )

    def _write(self) -> None:
        """Every change rewrites all gain devices, and the bias converter where there is one."""
        frames, relay_driven = [], False
        for channel, front_end in self.front_ends.items():
            wanted = self._planned(channel)
            relay_driven |= front_end.drive(wanted, now_s=self.now_s)
            frames.append(Frame(line=channel + 1, bits=wanted.word_bits, value=wanted.word))
        truth = self._truth.bus
        if truth.bias_bits:
            frames.append(Frame(line=len(truth.lines) - 1, bits=truth.bias_bits, value=self._bias_word))
        over_s = self.control_path.send(frames, now_s=self.now_s)
        timing = self._truth.timing
        self.occupy(max(timing.relay_complete_s if relay_driven else timing.fine_complete_s, over_s - self.now_s))

    def _planned(self, channel: int) -> Plan:
        wanted = self._plan(self._coarse[channel], self._fine[channel])
        faults = self.front_ends[channel].faults
        if faults:
            request = self._request(channel)
            for fault in faults:
                wanted = fault.plan(wanted, request)
        return wanted

    def _request(self, channel: int) -> Request:
        coarse, fine = self._coarse[channel], self._fine[channel]
        return Request(coarse=coarse, fine=fine, middle=self._middle, first=self._plan(coarse, 0))


def _position(allowed: Sequence[float], value: float) -> int:
    for index, candidate in enumerate(allowed):
        if abs(value - candidate) <= max(1e-6 * abs(candidate), 1e-12):
            return index
    raise Refusal(-222, f"{shown(value)}, allowed {', '.join(map(shown, allowed))}")
