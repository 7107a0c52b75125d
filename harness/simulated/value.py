"""Parameters: numbers with units, words, booleans, and how numbers are answered."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from harness.simulated.error_list import Refusal

INFINITY = 9.9e37
"""SCPI-1999 writes infinity so."""
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+))(?:\s*[eE]\s*([+-]?\d+))?\s*([A-Za-z%][A-Za-z0-9/.-]*)?")
_NON_DECIMAL = re.compile(r"#(?:H([0-9A-F]+)|Q([0-7]+)|B([01]+))", re.IGNORECASE)
_MULTIPLIERS = {
    "": 1.0, "EX": 1e18, "PE": 1e15, "T": 1e12, "G": 1e9, "MA": 1e6, "K": 1e3,
    "M": 1e-3, "U": 1e-6, "N": 1e-9, "P": 1e-12, "F": 1e-15, "A": 1e-18,
}  # fmt: skip


Units = Mapping[str, float]
"""Unit suffixes a number may carry, each with its factor to the parameter's own unit; longer names first."""
VPP: Units = {"VRMS": 2.0 * math.sqrt(2.0), "VPP": 1.0, "V": 1.0}
VOLT: Units = {"V": 1.0}
HERTZ: Units = {"HZ": 1.0}
OHM: Units = {"OHM": 1.0}
PERCENT: Units = {"PCT": 1.0, "%": 1.0}
DECIBEL: Units = {"DB": 1.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """What a number may be now: MINimum, MAXimum, DEFault."""

    low: float
    high: float
    default: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """A numeric parameter."""

    units: Units = field(default_factory=dict)
    words: Mapping[str, float] = field(default_factory=dict)
    """Further words by short-and-long spelling, such as INFinity."""

    def read(self, token: str, span: Span) -> float:
        """The value of a token; -1xx for a malformed one, -222 outside of the span."""
        value = self._value(token, span)
        if value in self.words.values():
            return value
        if not (span.low <= value <= span.high):
            raise Refusal(-222, f"{token}, allowed {shown(span.low)} to {shown(span.high)}")
        return value

    def _value(self, token: str, span: Span) -> float:
        _refuse_other_types(token)
        if token[0].isalpha():
            return self._word(token, span)
        coded = _NON_DECIMAL.fullmatch(token)
        if coded is not None:
            base = next(base for base, digits in zip((16, 8, 2), coded.groups(), strict=True) if digits)
            return float(int(token[2:], base))
        match = _NUMBER.fullmatch(token)
        if match is None:
            raise Refusal(-103 if re.match(r"\S+\s+[^A-Za-z\s]", token) else -121, token)
        digits, exponent, suffix = match.groups()
        if len(digits) > 255:
            raise Refusal(-124, token[:20])
        if exponent is not None and abs(int(exponent)) > 32000:
            raise Refusal(-123, token)
        return float(f"{digits}e{exponent or 0}") * self._factor(suffix)

    def _word(self, token: str, span: Span) -> float:
        usual = {"MINimum": span.low, "MAXimum": span.high, "DEFault": span.default}
        for spelling, value in (*usual.items(), *self.words.items()):
            if fits(token, spelling):
                return value
        raise Refusal(-144 if len(token) > 12 else -141, token)

    def _factor(self, suffix: str | None) -> float:
        if suffix is None:
            return 1.0
        if not self.units:
            raise Refusal(-138, suffix)
        if len(suffix) > 12:
            raise Refusal(-134, suffix)
        upper = suffix.upper()
        for name, factor in self.units.items():
            prefix = upper[: -len(name)]
            if upper.endswith(name) and prefix in _MULTIPLIERS:
                # M is milli, except before Hz and ohm, where it has always meant mega.
                mega = prefix == "M" and name in ("HZ", "OHM")
                return factor * (1e6 if mega else _MULTIPLIERS[prefix])
        raise Refusal(-131, suffix)


def fits(token: str, spelling: str) -> bool:
    """Whether a word is the short or the long form of a spelling such as SINusoid."""
    short = "".join(character for character in spelling if not character.islower())
    return token.upper() in (short.upper(), spelling.upper())


def word(token: str, spellings: tuple[str, ...]) -> str:
    """Which of the spellings a word is; -128, -158 and the like for other types, -224 for another word."""
    if not token[0].isalpha():
        _refuse_other_types(token)
        raise Refusal(-128, token)
    for spelling in spellings:
        if fits(token, spelling):
            return spelling
    raise Refusal(-224, f"{token}, allowed {', '.join(spellings)}")


def boolean(token: str) -> bool:
    """ON, OFF, or a number, which is rounded: all but 0 is ON."""
    if token[0].isalpha():
        return word(token, ("ON", "OFF")) == "ON"
    return round(Number().read(token, Span(low=-INFINITY, high=INFINITY, default=0.0))) != 0


def shown(value: float) -> str:
    """A number as our instruments answer it: shortest of ten digits, infinity as 9.9E+37."""
    if math.isinf(value):
        value = math.copysign(INFINITY, value)
    return f"{value:.10G}"


def _refuse_other_types(token: str) -> None:
    if token[0] in "\"'":
        raise Refusal(-158, token)
    if token[0] == "#" and token[1:2].isdigit():
        raise Refusal(-168, token)
    if token[0] == "(":
        raise Refusal(-178, token)
