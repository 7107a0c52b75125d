"""The usual cautions, in our words; shown by README, `check` and the first lines of a run."""

from __future__ import annotations

CAUTIONS = (
    "Opened mains-powered equipment is for qualified, licensed persons only, by your local codes and site rules.",
    "Capacitors may hold a charge after power-off: discharge them by approved means and measure before touching.",
    "The shell of an ordinary input or probe is at protective earth: never clip it to a live point,"
    " and never lift the earth.",
    "Wear a wrist strap against static when handling boards; never while high voltage is present.",
    "When soldering: power off, capacitors checked, fumes extracted, eyes protected, hands washed.",
    "The limits and interlocks of this program prevent mistakes. Software is not a safety function.",
)
"""Common practice, no source; local codes and qualified persons decide."""


def short() -> str:
    """Two lines for the start of a run."""
    return (
        "CAUTION  Opened mains equipment, charged capacitors, earthed probe shells, static and hot solder can hurt\n"
        "people and devices. Local codes and qualified, licensed persons decide; software is not a safety function.\n"
        "`gainladder check BENCH` prints all cautions."
    )


def long() -> str:
    """All of them, one a line."""
    return "CAUTIONS\n" + "\n".join(f"  - {line}" for line in CAUTIONS)
