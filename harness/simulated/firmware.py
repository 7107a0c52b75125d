"""The simulated unit's firmware: from range and fine position to relays, word and arithmetic."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.simulated.parameters import UnitTruth

_TIE = 1.0e-9
"""A wanted code of x.5 in exact arithmetic goes up, whatever the rounding of its floats."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What the firmware does for one setting."""

    attenuator: str
    pregain: int
    code: int
    code_bits: int
    gain_codes_per_v: float
    """Nominal, of the hardware alone."""
    codes_ratio: float
    """By how much codes are multiplied after the converter, as the range declares."""
    fine_ratio: float
    """How much more gain than at fine position 0 is wanted."""
    hidden_ratio: float = 1.0
    """The same, undeclared."""

    @property
    def word(self) -> int:
        """Pre-gain bit, then the code."""
        return self.pregain << self.code_bits | self.code

    @property
    def word_bits(self) -> int:
        """Length of the word."""
        return self.code_bits + 1

    @property
    def scale_v_per_code(self) -> float:
        """Nominal input volts an output code, as displayed."""
        return 1.0 / (self.gain_codes_per_v * self.codes_ratio * self.hidden_ratio)


def plan(unit: UnitTruth, coarse: int, fine: int) -> Plan:
    """The firmware's choice: the code nearest to the wanted gain, without pre-gain if that code exists."""
    chosen, gain = unit.range[coarse], unit.gain
    full_scale_vpp = chosen.full_scale_vpp * unit.fine_percents[fine] / 100.0
    wanted = 2.0**unit.converter.bits / full_scale_vpp / chosen.codes_ratio
    step = (
        gain.attenuator_ratio[chosen.attenuator]
        * gain.per_code_ratio
        * gain.loading_ratio
        * unit.converter.codes_per_v
    )  # fmt: skip
    last = 2**gain.code_bits - 1
    pregain, code = 0, _nearest(wanted / step)
    if code > last:
        pregain, code = 1, _nearest(wanted / (step * gain.pregain_ratio))
    code = min(max(code, 1), last)
    return Plan(
        attenuator=chosen.attenuator,
        pregain=pregain,
        code=code,
        code_bits=gain.code_bits,
        gain_codes_per_v=step * code * (gain.pregain_ratio if pregain else 1.0),
        codes_ratio=chosen.codes_ratio,
        fine_ratio=unit.fine_percents[0] / unit.fine_percents[fine],
    )


def _nearest(code: float) -> int:
    return math.floor(code + 0.5 + _TIE)
