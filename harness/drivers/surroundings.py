"""Drivers of what surrounds a unit: chamber, supply, probe."""

from __future__ import annotations

from harness.drivers.instrument import InstrumentDriver
from harness.drivers.profile import number_text
from harness.errors import BenchError, ReadBackDiffers

TEMPERATURE_TOLERANCE_K = 0.06
"""How far a set point may read back from the one sent: chambers keep tenths."""
VOLTAGE_TOLERANCE = 0.005


class _Settable(InstrumentDriver):
    def _check_span(self, value: float, verb: str, unit: str) -> None:
        low, high = self._profile.span or (value, value)
        if not low <= value <= high:
            raise BenchError(f"cannot make {value:g} {unit}; allowed: {low:g} to {high:g} {unit}", **self._place(verb))


class ChamberDriver(_Settable):
    """A climate chamber by its instrument file."""

    def set_temperature(self, temperature_c: float) -> float:
        """Set point, on, read back."""
        self._check_span(temperature_c, "temperature", "°C")
        self._carry_out(self._commands.messages("temperature", celsius=number_text(temperature_c)))
        self._carry_out(self._commands.messages("chamber_on"))
        question = self._commands.question("temperature_query")
        read_c = self._query_number(question)
        if abs(read_c - temperature_c) > TEMPERATURE_TOLERANCE_K:
            raise ReadBackDiffers(f"set {temperature_c:g} °C, reads back {read_c:g} °C", **self._place(question))
        return read_c

    def air_c(self) -> float:
        """Temperature of the air."""
        return self._query_number(self._commands.question("air_query"))


class SupplyDriver(_Settable):
    """A supply by its instrument file."""

    def set_voltage(self, voltage_v: float) -> float:
        """Set, on, read back."""
        self._check_span(voltage_v, "voltage", "V")
        self._carry_out(self._commands.messages("voltage", volts=number_text(voltage_v)))
        self._carry_out(self._commands.messages("supply_on"))
        question = self._commands.question("voltage_query")
        read_v = self._query_number(question)
        if abs(read_v - voltage_v) > VOLTAGE_TOLERANCE * voltage_v:
            raise ReadBackDiffers(f"set {voltage_v:g} V, reads back {read_v:g} V", **self._place(question))
        return read_v

    def measured(self) -> tuple[float, float]:
        """Voltage and current at its terminals."""
        ask = self._commands.question
        return self._query_number(ask("measured_v_query")), self._query_number(ask("measured_a_query"))


class ProbeDriver(InstrumentDriver):
    """A temperature probe by its instrument file."""

    def temperature_c(self) -> float:
        """Temperature now."""
        return self._query_number(self._commands.question("probe_query"))
