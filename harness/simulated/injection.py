"""From the command line's fault text to a fault."""

from __future__ import annotations

import difflib
import math

from harness.errors import UsageError
from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults import FAULTS
from harness.simulated.unit import UnitTruth


def read_fault(text: str, *, unit: UnitTruth) -> Fault:
    """The fault that `NAME[:CHANNEL][=SIZE]` stands for; UsageError says what the unit allows."""
    head, equals, size_text = text.partition("=")
    name, colon, channel_text = head.partition(":")
    kind = next((fault for fault in FAULTS if fault.entry.name == name), None)
    if kind is None:
        raise UsageError(_unknown(name))
    entry = kind.entry
    if name in unit.lacks:
        raise UsageError(f"fault {name}: the {unit.model} cannot have it: {unit.lacks[name]}")
    return kind(
        channel=_channel(entry, channel_text, unit.channels) if colon else None,
        size=_size(entry, size_text, highest=kind.highest(unit)) if equals else None,
    )


def _unknown(name: str) -> str:
    names = [fault.entry.name for fault in FAULTS]
    near = difflib.get_close_matches(name, names, n=3, cutoff=0.4)
    hint = f"nearest: {', '.join(near)}" if near else f"known: {', '.join(names)}"
    return f"fault {name!r} is unknown; {hint}; `gainladder faults` lists them all"


def _channel(entry: FaultEntry, text: str, channels: int) -> int:
    if not entry.takes_channel:
        raise UsageError(f"fault {entry.name}: got channel {text!r}; it is a fault of the station and takes no channel")
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= channels):
        raise UsageError(f"fault {entry.name}: got channel {text!r}; allowed is 1 to {channels}, or none for all")
    return int(text)


def _size(entry: FaultEntry, text: str, *, highest: float) -> float:
    if not entry.size:
        raise UsageError(f"fault {entry.name}: got size {text!r}; it takes no size")
    try:
        size = float(text)
    except ValueError:
        size = math.nan
    if not entry.low <= size <= highest or (entry.whole and size != round(size)):
        kind = "a whole number" if entry.whole else "a number"
        allowed = f"{kind} from {entry.low:g} to {highest:g} ({entry.size})"
        raise UsageError(f"fault {entry.name}: got size {text!r}; allowed is {allowed}")
    return size
