"""A gain setting, the state it stands for, and the words that make the state."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Setting:
    """One gain setting of one channel."""

    channel: int
    """1-based."""
    coarse: int
    """0-based index of the range, least sensitive first."""
    fine: int
    """0-based index within the range, least gain first."""


@dataclass(frozen=True, slots=True, order=True)
class ControlWord:
    """The bits latched into one gain device."""

    latch: str
    """Name of the latch line that took the word."""
    bits: int
    """Word length."""
    value: int
    """The word as an unsigned number, first bit on the wire most significant unless the layout says otherwise."""

    def __str__(self) -> str:
        return f"{self.latch}:{self.value:0{(self.bits + 3) // 4}X}"


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Everything that a setting stands for inside the device."""

    word: ControlWord
    """The word of this channel's gain device."""
    controls: tuple[tuple[str, str | int], ...]
    """Named controls behind the gain, such as ("attenuator", "1:10"), ("pregain", 1), ("code", 204)."""
    arithmetic_ratio: float
    """Declared gain by arithmetic behind the converter; 1.0 where there is none."""
    more: tuple[ControlWord, ...] = ()
    """Words of the channel's other gain devices, such as the relay drivers."""

    def control(self, name: str) -> str | int:
        """The value of one named control; KeyError where there is none."""
        return dict(self.controls)[name]
