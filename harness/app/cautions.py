"""The usual cautions, in our words; shown by README, `check` and the first lines of a run."""

from __future__ import annotations

CAUTIONS = (
    "Work on opened mains-powered equipment is for qualified, licensed persons only, by your local codes and site rules.",
    "Capacitors may hold a charge after power-off: discharge them by approved means and measure before touching.",
    "The shell of an ordinary input or probe is at protective earth: never clip it to a live point, never lift the earth.",
    "Wear a wrist strap against static when handling boards; never while high voltage is present.",
    "When soldering: power off, capacitors checked, fumes extracted, eyes protected, hands washed.",
    "The limits and interlocks of this program prevent mistakes. Software is not a safety function.",
)
"""Common practice, no source; local codes and qualified persons decide."""


def short() -> str:
    """Two lines for the start of a run."""
    return (
        "CAUTION  Opened mains equipment, charged capacitors, earthed probe shells, static and hot solder can hurt people and\n"
        "devices; local codes and qualified, licensed persons decide. Software is not a safety function. (`gainladder check`)"
    )


def long() -> str:
    """All of them, one a line."""
    return "CAUTIONS\n" + "\n".join(f"  - {line}" for line in CAUTIONS)
