"""The simulated chamber, supply and temperature probe."""

from __future__ import annotations

from dataclasses import dataclass

from harness.bench import Clock
from harness.simulated.climate import Climate
from harness.simulated.error_list import Refusal
from harness.simulated.instrument import Instrument
from harness.simulated.parameters import ChamberTruth, ProbeTruth, SupplyTruth
from harness.simulated.soak import Soak
from harness.simulated.value import Number, Span


class SimulatedChamber(Instrument):
    """A climate chamber; switched off, its air goes back to the room's temperature."""

    def __init__(self, truth: ChamberTruth, clock: Clock, *, soak: Soak, room_c: float) -> None:
        super().__init__(truth, clock)
        self._soak = soak
        self._room_c = self._set_c = room_c
        self._on = False
        span = Span(low=truth.low_c, high=truth.high_c, default=room_c)
        self.tree.number(
            "TEMPerature",
            Number(),
            lambda _: span,
            get=lambda _: self._set_c,
            put=lambda _, celsius: self._aim(celsius),
        )
        self.tree.query("TEMPerature:ACTual", lambda _: f"{self._soak.air_c(self.now_s):.2f}")
        self.tree.boolean("OUTPut[:STATe]", get=lambda: self._on, put=self._switch)

    def reset(self) -> None:
        """Off."""
        self._switch(False)

    def _aim(self, celsius: float) -> None:
        self._set_c = celsius
        self._move()

    def _switch(self, on: bool) -> None:
        self._on = on
        self._move()

    def _move(self) -> None:
        self._soak.move(self._set_c if self._on else self._room_c, now_s=self.now_s)


class SimulatedSupply(Instrument):
    """A supply; off, the unit is fed by its own at nominal voltage, so that a bench may leave it alone."""

    def __init__(self, truth: SupplyTruth, clock: Clock) -> None:
        super().__init__(truth, clock)
        self._truth = truth
        self._set_v = truth.nominal_v
        self._on = False
        span = Span(low=truth.low_v, high=truth.high_v, default=truth.nominal_v)
        self.tree.number(
            "[SOURce]:VOLTage",
            Number(),
            lambda _: span,
            get=lambda _: self._set_v,
            put=lambda _, volts: self._put(volts),
        )
        self.tree.boolean("OUTPut[:STATe]", get=lambda: self._on, put=self._switch)
        self.tree.query("MEASure:VOLTage", lambda _: f"{self._set_v if self._on else 0.0:.4f}")
        self.tree.query("MEASure:CURRent", lambda _: f"{self._current_a():.4f}")

    def voltage(self) -> float:
        """At the unit."""
        return self._set_v if self._on else self._truth.nominal_v

    def reset(self) -> None:
        """Off."""
        self._on = False

    def _put(self, volts: float) -> None:
        if volts <= 0.0:
            raise Refusal(-222, f"{volts:g}")
        self._set_v = volts

    def _switch(self, on: bool) -> None:
        self._on = on

    def _current_a(self) -> float:
        """The unit takes the same power at every voltage."""
        return self._truth.current_a * self._truth.nominal_v / self._set_v if self._on else 0.0


class SimulatedProbe(Instrument):
    """A probe on the unit: it reads the unit's temperature, its own heat included, by an offset of its own."""

    def __init__(self, truth: ProbeTruth, clock: Clock, *, climate: Climate) -> None:
        super().__init__(truth, clock)
        self.tree.query(
            "MEASure:TEMPerature", lambda _: f"{climate.inside_c(self.now_s) + truth.offset_k:.3f}"
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Around:
    """What a simulated bench has round its unit."""

    climate: Climate
    chamber: SimulatedChamber | None
    supply: SimulatedSupply | None
    probe: SimulatedProbe | None
