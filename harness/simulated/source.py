"""The simulated source: sines, and steady levels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from harness.bench import Clock
from harness.simulated.cable import Signal
from harness.simulated.error_list import Refusal
from harness.simulated.fault import Fault
from harness.simulated.glide import Glide
from harness.simulated.instrument import Instrument
from harness.simulated.parameters import SourceTruth
from harness.simulated.streams import within
from harness.simulated.value import HERTZ, OHM, VOLT, VPP, Number, Span, shown

_POWER_ON_LOAD_OHM = 50.0
_POWER_ON_VPP = 0.1
_POWER_ON_HZ = 1000.0
_LOAD_SPAN = Span(low=1.0, high=1.0e6, default=_POWER_ON_LOAD_OHM)


class SimulatedSource(Instrument):
    """A sine source whose levels are those at its terminals for the load it was told."""

    def __init__(
        self, truth: SourceTruth, clock: Clock, *, seed: int, faults: Sequence[Fault], role: str = "source"
    ) -> None:
        super().__init__(truth, clock)
        self._truth = truth
        self._faults = tuple(faults)
        self._common_ratio = 1.0 + within(seed, f"{role}/common", truth.common_percent / 100.0)
        # Each decade of level has an attenuator of its own.
        self._range_ratio = lru_cache(64)(
            lambda decade: 1.0 + within(seed, f"{role}/range {decade}", truth.range_percent / 100.0)
        )
        self._level_v = Glide(target=0.0)
        self._offset_v = Glide(target=0.0)
        self._defaults()
        self._commands()

    def signal(self) -> Signal:
        """What is put out now, open circuit."""
        return Signal(level_v=self._level_v, offset_v=self._offset_v, frequency_hz=self._frequency_hz)

    @property
    def output(self) -> bool:
        """Whether the output is on."""
        return self._on

    def reset(self) -> None:
        """Output off, power-on values."""
        self._defaults()
        self._apply()

    def _defaults(self) -> None:
        self._on = False
        self._frequency_hz = _POWER_ON_HZ
        self._told_ohm = self._taken_over(_POWER_ON_LOAD_OHM)
        self._open_vpp = _POWER_ON_VPP / self._told_ratio
        self._open_offset_v = 0.0
        self._shape = "SINusoid"

    def _commands(self) -> None:
        tree, truth = self.tree, self._truth
        tree.boolean("OUTPut[:STATe]", get=lambda: self._on, put=self._switch)
        tree.number(
            "OUTPut:LOAD",
            Number(units=OHM, words={"INFinity": math.inf}),
            lambda _: _LOAD_SPAN,
            get=lambda _: self._told_ohm,
            put=lambda _, ohm: self._load(ohm),
        )
        tree.word("[SOURce]:FUNCtion[:SHAPe]", ("SINusoid", "DC"), get=lambda: self._shape, put=self._form)
        tree.number(
            "[SOURce]:FREQuency[:CW]",
            Number(units=HERTZ),
            lambda _: Span(low=truth.min_hz, high=truth.max_hz, default=_POWER_ON_HZ),
            get=lambda _: self._frequency_hz,
            put=lambda _, hz: self._tune(hz),
        )
        tree.number(
            "[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]",
            Number(units=VPP),
            lambda _: self._level_span(),
            get=lambda _: self._rounded(self._open_vpp * self._told_ratio),
            put=lambda _, vpp: self._level(vpp),
        )
        tree.number(
            "[SOURce]:VOLTage[:LEVel][:IMMediate]:OFFSet",
            Number(units=VOLT),
            lambda _: self._offset_span(),
            get=lambda _: self._open_offset_v * self._told_ratio,
            put=lambda _, volts: self._shift(volts),
        )

    @property
    def _told_ratio(self) -> float:
        """Displayed level over open-circuit level."""
        told = self._told_ohm
        return 1.0 if math.isinf(told) else told / (told + self._truth.output_ohm)

    def _level_span(self) -> Span:
        ratio = self._told_ratio
        return Span(
            low=2.0 * self._truth.min_vpk * ratio, high=2.0 * self._truth.max_vpk * ratio, default=_POWER_ON_VPP
        )

    def _offset_span(self) -> Span:
        high = self._truth.max_vpk * self._told_ratio
        return Span(low=-high, high=high, default=0.0)

    def _switch(self, on: bool) -> None:
        if on and not self._on:
            for fault in self._faults:
                fault.switched_on()
        self._on = on
        self._apply()

    def _form(self, shape: str) -> None:
        """Steady, the offset alone is put out, and the level waits for the next sine."""
        self._shape = shape
        self._apply()

    def _load(self, ohm: float) -> None:
        # What is put out stays; only what it is called changes, as with the real thing.
        self._told_ohm = self._taken_over(ohm)

    def _taken_over(self, ohm: float) -> float:
        for fault in self._faults:
            ohm = fault.told_ohm(ohm) if fault.begun else ohm
        return ohm

    def _tune(self, hertz: float) -> None:
        self._frequency_hz = round(hertz, 6)
        self._apply()

    def _level(self, vpp: float) -> None:
        self._check_sum(vpp / 2.0 / self._told_ratio, self._open_offset_v)
        self._open_vpp = self._rounded(vpp) / self._told_ratio
        self._apply()

    def _shift(self, volts: float) -> None:
        step_v = self._truth.offset_step_v
        offset_v = round(volts / step_v) * step_v / self._told_ratio
        self._check_sum(0.0 if self._shape == "DC" else self._open_vpp / 2.0, offset_v)
        self._open_offset_v = offset_v
        self._apply()

    def _check_sum(self, open_vpk: float, open_offset_v: float) -> None:
        limit = self._truth.max_vpk
        if open_vpk + abs(open_offset_v) > limit * (1.0 + 1e-9):
            raise Refusal(-221, f"level and offset together above {shown(limit)} V into an open circuit")

    def _rounded(self, value: float) -> float:
        return float(f"{value:.{self._truth.digits - 1}e}")

    def _ratio(self, open_vpp: float) -> float:
        """True over set amplitude: sine and offset pass the same attenuator."""
        if open_vpp == 0.0:
            return 1.0
        return float(self._common_ratio * self._range_ratio(math.floor(math.log10(open_vpp) + 1e-9)))

    def _apply(self) -> None:
        flatness = self._truth.flatness_percent / 100.0 * (self._frequency_hz / self._truth.max_hz) ** 2
        true_vpk = self._open_vpp / 2.0 * self._ratio(self._open_vpp) * (1.0 - flatness)
        true_offset_v = self._open_offset_v * self._ratio(2.0 * abs(self._open_offset_v))
        settle = {"now_s": self.now_s, "tau_s": self._truth.settle_tau_s}
        sine = self._on and self._shape == "SINusoid"
        self._level_v = self._level_v.moved(true_vpk if sine else 0.0, **settle)
        self._offset_v = self._offset_v.moved(true_offset_v if self._on else 0.0, **settle)
        self.occupy(self._truth.complete_s)
