"""Program messages of IEEE 488.2: units, headers, parameters, as text. Meaning comes later."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from harness.simulated.error_list import Refusal

_HEADER = re.compile(r"(\*[A-Za-z]+|:?[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)(\??)")
_LONGEST_MNEMONIC = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """One command or query of a message."""

    text: str
    """As sent, for the error text."""
    mnemonics: tuple[str, ...]
    """Upper case; a common command is one mnemonic with its asterisk."""
    absolute: bool
    """Begins with a colon: the path starts at the root."""
    query: bool
    parameters: tuple[str, ...]

    @property
    def common(self) -> bool:
        """A command of IEEE 488.2 itself, which leaves the path alone."""
        return self.mnemonics[0].startswith("*")


def split(text: str, separator: str) -> list[str]:
    """Cut at separators that stand outside of quotes; -151 when a quote is left open."""
    pieces, piece, quote = [], "", ""
    for character in text:
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        elif character == separator:
            pieces.append(piece)
            piece = ""
            continue
        piece += character
    if quote:
        raise Refusal(-151, text.strip())
    return [*pieces, piece]


@lru_cache(maxsize=4096)
def units(message: bytes) -> tuple[str, ...]:
    """The units of one message, stripped, empty ones left out."""
    text = message.decode("latin-1")
    strange = next((character for character in text if not (" " <= character <= "~" or character == "\t")), None)
    if strange is not None:
        raise Refusal(-101, f"byte 0x{ord(strange):02X}")
    return tuple(piece.strip() for piece in split(text, ";") if piece.strip())


@lru_cache(maxsize=4096)
def read_unit(text: str) -> Unit:
    """Take one unit apart; -102 and -11x where it is malformed."""
    match = _HEADER.match(text)
    if match is None:
        raise Refusal(-102, text)
    header, mark = match.groups()
    rest = text[match.end() :]
    if rest and not rest[0].isspace():
        raise Refusal(-102 if rest[0] in ":?" else -111, text)
    names = tuple(part.upper() for part in header.lstrip(":").split(":"))
    if any(len(name.lstrip("*")) > _LONGEST_MNEMONIC for name in names):
        raise Refusal(-112, text)
    parameters = tuple(piece.strip() for piece in split(rest, ",")) if rest.strip() else ()
    if any(not parameter for parameter in parameters):
        raise Refusal(-102, text)
    return Unit(
        text=text, mnemonics=names, absolute=header.startswith(":"), query=mark == "?", parameters=parameters
    )  # fmt: skip
