"""From the command line's fault text to a fault."""

from __future__ import annotations

import difflib

from harness.errors import UsageError
from harness.simulated.fault import Fault
from harness.simulated.faults import FAULTS
from harness.simulated.injection import name_of, read_injection
from harness.simulated.unit import UnitTruth

_NEAR = 3
_SHOWN = 8
"""Names shown when none is near."""


def read_fault(text: str, *, unit: UnitTruth, in_process: bool = True) -> Fault:
    """The fault that a text stands for; UsageError says what the unit and the way it is reached allow."""
    name = name_of(text)
    kind = next((fault for fault in FAULTS if fault.entry.name == name or fault.entry.id == name), None)
    if kind is None:
        raise UsageError(_unknown(name))
    entry = kind.entry
    if entry.needs:
        raise UsageError(f"fault {entry.name}: not yet injectable: needs {entry.needs}")
    if entry.name in unit.lacks:
        raise UsageError(f"fault {entry.name}: the {unit.model} cannot have it: {unit.lacks[entry.name]}")
    if entry.seam == "process" and not in_process:
        raise UsageError(
            f"fault {entry.name}: acts in the tool's own process; this bench is reached over the wire: use a job or "
            'bench with transport = "in-process"'
        )
    return kind(injection=read_injection(text, entry, channels=unit.channels, highest=kind.highest(unit)))


def _unknown(name: str) -> str:
    names = [fault.entry.name for fault in FAULTS]
    near = difflib.get_close_matches(name, names, n=_NEAR, cutoff=0.4)
    hint = (
        f"nearest: {', '.join(near)}" if near else f"known: {', '.join(names[:_SHOWN])} and {len(names) - _SHOWN} more"
    )
    return f"fault {name!r} is unknown; {hint}; `gainladder faults` lists them all"
