"""The ranges as a device file names them: controls, full scale, declared arithmetic."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from harness.config import SettingsFile
from harness.learn.explain import Explained, Moves, nice
from harness.learn.write.parts import UNSEEN, digits, outside_bits, state_name
from harness.values import Realness

SAME_ALL_OVER_RATIO = 0.002
"""A range is arithmetic as a whole where its positions share one factor this well."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RangePart:
    """One `[[coarse]]` table."""

    name: str
    full_scale_vpp: float
    value: float | str | None
    controls: Mapping[str, str | int]
    arithmetic_ratio: float
    notes: tuple[str, ...]


def range_parts(explained: Explained, settings: SettingsFile) -> tuple[RangePart, ...]:
    """The ranges of a device that has commands for them.

    Args:
        explained: with a law.
        settings: what is known of the device from outside.
    Returns:
        one part for each range, in order.
    Source:
        none: the same content.
    """
    found = []
    for index, named in enumerate(settings.coarse):
        measured_vpp = _full_scale(explained, settings, index)
        full_scale_vpp, notes = named.full_scale_vpp or measured_vpp, []
        if named.full_scale_vpp is None:
            notes.append("full scale as measured")
        elif measured_vpp and abs(measured_vpp / named.full_scale_vpp - 1.0) > 0.05:
            notes.append(f"as named; by the measured gain the full scale is {measured_vpp:.4g} V peak to peak")
        ratio, why = _arithmetic(explained, index)
        found.append(
            RangePart(
                name=named.name, full_scale_vpp=digits(full_scale_vpp or math.nan), value=named.value,
                controls=_controls(explained, index), arithmetic_ratio=ratio,
                notes=tuple(notes + ([why] if why else [])),
            )
        )  # fmt: skip
    return tuple(found)


def _full_scale(explained: Explained, settings: SettingsFile, index: int) -> float:
    """Converter span over the gain at the first fine position that has one, as firmware reckons; 0 where none has."""
    ratios = np.asarray([part.ratio for part in explained.parts])
    gains, seen = np.exp(explained.plain_logs()) * ratios, explained.seen
    percents = settings.fine.percents() if settings.fine is not None else (100.0,)
    for row, setting in enumerate(seen.settings):
        if setting.coarse == index and math.isfinite(gains[row]):
            alike = [r for r, s in enumerate(seen.settings) if (s.coarse, s.fine) == (index, setting.fine)]
            gain = math.exp(float(np.nanmean(np.log(gains[alike]))))
            return float(2**settings.converter.bits) / gain * 100.0 / percents[setting.fine]
    return 0.0


def _arithmetic(explained: Explained, index: int) -> tuple[float, str]:
    """The factor that a whole range has by arithmetic, and the evidence."""
    parts = [
        part for part, setting in zip(explained.parts, explained.seen.settings, strict=True) if setting.coarse == index
    ]
    arithmetic = [part for part in parts if part.realness is Realness.ARITHMETIC]
    if not parts or len(arithmetic) < len(parts):
        return 1.0, next((part.why for part in parts if part.realness is Realness.UNPROVEN), "")
    logs = [math.log(part.ratio) for part in arithmetic]
    middle = float(np.median(logs))
    if max(abs(log - middle) for log in logs) > SAME_ALL_OVER_RATIO:
        return 1.0, "arithmetic of several factors: the firmware rule cannot say it"
    return digits(nice(math.exp(middle))), f"arithmetic: {arithmetic[0].why}"


def _controls(explained: Explained, index: int) -> Mapping[str, str | int]:
    """What the range fixes: the unseen state, and bits that stay inside it."""
    found: dict[str, str | int] = {}
    if explained.states is not None:
        found[UNSEEN] = state_name(explained.states.state_of.get(index, 0))
    rows = [row for row, setting in enumerate(explained.seen.settings) if setting.coarse == index]
    for place, name in outside_bits(explained).items():
        if explained.movement.bits[place] is Moves.COARSE:
            found[name] = int(explained.seen.bits[rows[0], place]) if rows else 0
    return found
