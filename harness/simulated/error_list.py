"""The SCPI-1999 error and event numbers that our simulated instruments use, and the event bit of each class."""

from __future__ import annotations

TEXTS: dict[int, str] = {
    0: "No error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -168: "Block data not allowed",
    -178: "Expression data not allowed",
    -213: "Init ignored",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -241: "Hardware missing",
    -230: "Data corrupt or stale",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}

_CLASS_BITS = {1: 5, 2: 4, 3: 3, 4: 2, 5: 7, 6: 6, 7: 1, 8: 0}
"""Hundreds of the code to the bit of the standard event status register."""


def event_bit(code: int) -> int | None:
    """The bit of the standard event status register that a code sets; None for 0 and for device-defined codes."""
    if code > 0:
        return 3
    return _CLASS_BITS.get(-code // 100)


class Refusal(Exception):
    """A command that an instrument does not carry out; never leaves this room."""

    def __init__(self, code: int, detail: str = "") -> None:
        super().__init__(code, detail)
        self.code = code
        self.detail = detail

    def __str__(self) -> str:
        return f"{self.code}, {TEXTS[self.code]}" + (f"; {self.detail}" if self.detail else "")
