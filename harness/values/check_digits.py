"""Check characters of serial numbers and badges: whether a scanned text is the one that was printed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

CODE_39 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"
"""The 43 characters of Code 39 in order of their values (ISO/IEC 16388)."""
_DIGITS = "0123456789"
_ALPHANUMERIC = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def mod_10(text: str) -> bool:
    """Whether the last digit is the one that the digits before it demand, every second one doubled (Luhn).

    Args:
        text: digits, the check digit last.
    Returns:
        False too for a text of other characters or of less than two.
    """
    if len(text) < 2 or any(character not in _DIGITS for character in text):
        return False
    total = 0
    for position, character in enumerate(reversed(text)):
        value = int(character) * (1 + position % 2)
        total += value - 9 if value > 9 else value
    return total % 10 == 0


def mod_43(text: str) -> bool:
    """Whether the last character has the value of the sum of all before it, modulo 43 (Code 39).

    Args:
        text: characters of Code 39, the check character last.
    Returns:
        False too for a text of other characters or of less than two.
    """
    if len(text) < 2 or any(character not in CODE_39 for character in text):
        return False
    return sum(map(CODE_39.index, text[:-1])) % 43 == CODE_39.index(text[-1])


def mod_97(text: str) -> bool:
    """Whether the last two digits make the number 1 modulo 97, a letter being two digits, A 10 to Z 35 (MOD 97-10).

    Args:
        text: digits and capital letters, the two check digits last.
    Returns:
        False too for a text of other characters, of less than three, or without two digits at its end.
    """
    if len(text) < 3 or any(character not in _ALPHANUMERIC for character in text):
        return False
    if any(character not in _DIGITS for character in text[-2:]):
        return False
    return int("".join(str(_ALPHANUMERIC.index(character)) for character in text)) % 97 == 1


def _always(text: str) -> bool:
    return True


CHECKSUMS: Mapping[str, Callable[[str], bool]] = MappingProxyType(
    {"none": _always, "mod-10": mod_10, "mod-43": mod_43, "mod-97": mod_97}
)
"""By the name that a configuration file gives."""
