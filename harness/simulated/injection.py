"""How a fault is asked for: `NAME[:CHANNEL][/PLACE][=SIZE[,SECOND]][~CHANCE][@RECORD]`."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from harness.errors import UsageError
from harness.simulated.fault_entry import FaultEntry

SYNTAX = "NAME[:CHANNEL][/PLACE][=SIZE[,SECOND]][~CHANCE][@RECORD]"
_PARTS = re.compile(
    r"(?P<name>[^:/=~@]*)(?P<colon>:(?P<where>[^/=~@]*))?(?P<slash>/(?P<place>[^=~@]*))?"
    r"(?P<equals>=(?P<sizes>[^~@]*))?(?P<tilde>~(?P<chance>[^@]*))?(?P<at>@(?P<start>.*))?"
)
MOST_RECORDS = 1_000_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Injection:
    """One fault as asked for; what was left out is the catalogue's default."""

    channel: int | None = None
    role: str = ""
    place: str = ""
    sizes: tuple[float, ...] = ()
    chance: float = 1.0
    start: int | None = None


def name_of(text: str) -> str:
    """The name that a fault text begins with."""
    return re.split(r"[:/=~@]", text, maxsplit=1)[0]


def read_injection(text: str, entry: FaultEntry, *, channels: int, highest: float) -> Injection:
    """What a fault text says beside the name; UsageError says what is allowed."""
    match = _PARTS.fullmatch(text)
    if match is None:  # pragma: no cover - the pattern fits any text
        raise UsageError(f"fault {text!r}: allowed is {SYNTAX}")
    channel, role = (None, "") if match["colon"] is None else _where(entry, match["where"], channels)
    return Injection(
        channel=channel,
        role=role,
        place="" if match["slash"] is None else _place(entry, match["place"]),
        sizes=() if match["equals"] is None else _sizes(entry, match["sizes"], highest),
        chance=1.0 if match["tilde"] is None else _chance(entry, match["chance"]),
        start=None if match["at"] is None else _start(entry, match["start"]),
    )


def _where(entry: FaultEntry, text: str, channels: int) -> tuple[int | None, str]:
    if entry.roles:
        if text not in entry.roles:
            raise UsageError(f"fault {entry.name}: got {text!r}; allowed is {', '.join(entry.roles)}, or none for all")
        return None, text
    if not entry.takes_channel:
        what = "of the station" if entry.kind == "station" else "of the whole bench"
        raise UsageError(f"fault {entry.name}: got channel {text!r}; it is a fault {what} and takes no channel")
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= channels):
        raise UsageError(f"fault {entry.name}: got channel {text!r}; allowed is 1 to {channels}, or none for all")
    return int(text), ""


def _place(entry: FaultEntry, text: str) -> str:
    if text not in entry.places:
        allowed = " or ".join(entry.places) or "no place: leave out the slash"
        raise UsageError(f"fault {entry.name}: got place {text!r}; allowed is {allowed}")
    return text


def _sizes(entry: FaultEntry, text: str, highest: float) -> tuple[float, ...]:
    if not entry.size:
        raise UsageError(f"fault {entry.name}: got size {text!r}; it takes no size")
    first, comma, second = text.partition(",")
    kind = "a whole number" if entry.whole else "a number"
    sizes = [_number(entry, first, entry.low, highest, entry.whole, f"{kind} from {{}} to {{}} ({entry.size})")]
    if comma:
        if not entry.second:
            raise UsageError(f"fault {entry.name}: got second size {second!r}; it takes one number only")
        high = highest if entry.second_high is None else entry.second_high
        words = f"{kind} from {{}} to {{}} ({entry.second})"
        sizes.append(_number(entry, second, entry.second_low, high, entry.whole, words))
    return tuple(sizes)


def _number(entry: FaultEntry, text: str, low: float, high: float, whole: bool, allowed: str) -> float:
    try:
        size = float(text)
    except ValueError:
        size = math.nan
    if not low <= size <= high or (whole and size != round(size)):
        said = allowed.format(f"{low:g}", f"{high:g}")
        raise UsageError(f"fault {entry.name}: got size {text!r}; allowed is {said}")
    return size


def _chance(entry: FaultEntry, text: str) -> float:
    try:
        chance = float(text)
    except ValueError:
        chance = math.nan
    if not 0.0 <= chance <= 1.0:
        raise UsageError(f"fault {entry.name}: got chance {text!r}; allowed is a number from 0 to 1, for each event")
    return chance


def _start(entry: FaultEntry, text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= MOST_RECORDS):
        raise UsageError(f"fault {entry.name}: got record {text!r}; allowed is a whole number from 1 on")
    return int(text)
