"""What surrounded a unit at one moment, as a line of the run's journal."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.values.reading import Event

CONDITION = "condition"
"""Kind of such a line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One number."""

    at_utc: str
    at_s: float
    name: str
    """probe_c, air_c, supply_v or supply_a."""
    value: float


def conditions_text(values: dict[str, float]) -> str:
    """The text of a line that holds some conditions.

    Args:
        values: by name.
    Returns:
        such as `probe_c=49.93 supply_v=12`.
    """
    return " ".join(f"{name}={value:.7g}" for name, value in values.items())


def conditions_of(event: Event) -> tuple[Condition, ...]:
    """The conditions that a line of the journal holds.

    Args:
        event: any line.
    Returns:
        one for each number; none where the line is of another kind, or not a number.
    """
    if event.kind != CONDITION:
        return ()
    found: list[Condition] = []
    for part in event.text.split():
        name, _, text = part.partition("=")
        try:
            value = float(text)
        except ValueError:
            continue
        if math.isfinite(value):
            found.append(Condition(at_utc=event.at_utc, at_s=event.at_s, name=name, value=value))
    return tuple(found)
