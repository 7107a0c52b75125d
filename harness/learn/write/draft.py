"""The device file as tables, before it is text: what the explanation says, and what was given."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from harness.bus import BusWiring
from harness.config import SettingsFile
from harness.learn.explain import Explained
from harness.learn.write.loaded_ranges import loaded_ranges
from harness.learn.write.parts import FieldPart, StagePart, outside_bits
from harness.learn.write.path_parts import stage_parts
from harness.learn.write.range_parts import RangePart, range_parts
from harness.learn.write.word_fields import word_fields

Tables = dict[str, Any]
FROM_CAPTURES = "known: from the captures"
NOT_HEARD = (
    "unknown: words were given and no line was heard: which line is data, clock or latch, and on which edge it acts"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """All of a device file but the firmware's rule."""

    settings: SettingsFile
    change: Mapping[str, Any]
    """The one entry of [[change]]: version, date, owner, reason."""
    stages: tuple[StagePart, ...]
    ranges: tuple[RangePart, ...]
    fine: Tables
    layouts: tuple[tuple[FieldPart, ...], ...]
    bus: Tables | None
    """The [bus] table without layouts."""
    latches: tuple[tuple[str, ...], ...]
    """Of each gain device, its latch in each channel."""
    bystanders: tuple[tuple[str, int], ...]
    """Latch and word length of devices that follow no channel."""
    bus_sure: str
    """How sure the lines of the bus are, and why."""
    free_inside: tuple[str, ...]
    """Two-valued controls that the firmware chooses inside ranges."""

    def tables(self, firmware: Mapping[str, Any]) -> Tables:
        """The whole file for one rule of the firmware.

        Args:
            firmware: the [firmware] table.
        Returns:
            tables as a TOML reader would give them.
        Source:
            none: the same content.
        """
        known = self.settings
        found: Tables = {
            "kind": "device", "version": 1, "name": known.name, "description": known.description or "Learned.",
            "channels": known.channels, "set_by": known.set_by, "change": [dict(self.change)],
            "input": known.input.model_dump(exclude_unset=True),
            "converter": known.converter.model_dump(exclude_unset=True),
            "acquisition": known.acquisition.model_dump(exclude_unset=True),
            "coarse": [_range_table(part) for part in self.ranges],
            "fine": self.fine,
            "stage": [dict(stage.keys) for stage in self.stages],
            "firmware": dict(firmware),
            "settle": known.settle.model_dump(exclude_unset=True),
        }  # fmt: skip
        if self.bus is not None and self.layouts:
            found["bus"] = {**self.bus, **self._words()}
        return found

    def _words(self) -> Tables:
        layouts = [[field_table(field) for field in layout] for layout in self.layouts]
        on_bus: list[Tables] = []
        for layout, latches in zip(layouts, self.latches, strict=True):
            shared = len(set(latches)) == 1 and len(latches) > 1
            for channel, latch in enumerate(latches[:1] if shared else latches, start=1):
                member: Tables = {"latch": latch, "bits": sum(int(field["bits"]) for field in layout)}
                member["channel"] = "all" if shared else channel
                on_bus.append(member | ({"layout": layout} if len(layouts) > 1 else {}))
        on_bus += [{"latch": latch, "bits": bits} for latch, bits in self.bystanders]
        return {"layout": layouts[0], "on_bus": on_bus}


def field_table(field: FieldPart) -> Tables:
    """One field of a layout.

    Args:
        field: any.
    Returns:
        its table.
    Source:
        none: the same content.
    """
    named: Tables = {"control": field.control} if field.control else {"fill": field.fill}
    named["bits"] = field.bits
    return named | ({"first_bit": "least-significant"} if field.least_first else {})


def _range_table(part: RangePart) -> Tables:
    found: Tables = {"name": part.name, "full_scale_vpp": part.full_scale_vpp, "controls": dict(part.controls)}
    if part.value is not None:
        found["value"] = part.value
    if part.arithmetic_ratio != 1.0:
        found["arithmetic_ratio"] = part.arithmetic_ratio
    return found


def draft_of(
    explained: Explained, settings: SettingsFile, wiring: BusWiring | None, *, date: datetime.date, owner: str,
    bus_sure: str = FROM_CAPTURES,
) -> Draft:  # fmt: skip
    """The device file as far as explanation and settings go.

    Args:
        explained: with a law.
        settings: what is known from outside.
        wiring: of the bus, found or given; None without one.
        date: of the file.
        owner: who learned it.
        bus_sure: how sure the lines of the bus are, and why.
    Returns:
        the draft.
    Raises:
        LearnError: there is no law, or its gains turn round.
    Source:
        none: the same content.
    """
    stages = stage_parts(
        explained, codes_per_v=settings.converter.codes_per_v, frequency_hz=settings.acquisition.frequency_hz,
        names=settings.range_names,
    )  # fmt: skip
    if settings.set_by == "adapter":
        free: tuple[str, ...] = ()
        loaded = loaded_ranges(explained, settings)
        ranges = loaded.ranges
        fine: Tables = {"first_db": 0.0, "last_db": loaded.span_db, "count": loaded.count}
    else:
        ranges = range_parts(explained, settings)
        fine = settings.fine.model_dump(exclude_none=True) if settings.fine is not None else {}
        fixed = {name for part in ranges for name in part.controls}
        free = tuple(name for name in outside_bits(explained).values() if name not in fixed)
    latches = tuple(segment.latches for segment in explained.seen.segments) if explained.by_words else ()
    return Draft(
        settings=settings, change={"version": 1, "date": date, "owner": owner, "reason": "learned"},
        stages=stages, ranges=ranges, fine=fine, layouts=word_fields(explained),
        bus=_bus_table(wiring, heard=bus_sure != NOT_HEARD) if wiring is not None and explained.by_words else None,
        latches=latches, bystanders=_bystanders(wiring, latches), bus_sure=bus_sure,
        free_inside=free,
    )  # fmt: skip


def _bus_table(wiring: BusWiring, *, heard: bool) -> Tables:
    """Without edges where nobody has heard them."""
    lines: Tables = {"lines": list(wiring.lines), "data": wiring.data, "clock": wiring.clock}
    return lines if not heard else lines | {
        "active_clock_edge": "rising" if wiring.clock_rising else "falling",
        "active_latch_edge": "rising" if wiring.latch_rising else "falling",
        "minimum_pulse_ns": wiring.minimum_pulse_ns,
    }  # fmt: skip


def _bystanders(wiring: BusWiring | None, latches: tuple[tuple[str, ...], ...]) -> tuple[tuple[str, int], ...]:
    mine = {latch for group in latches for latch in group}
    devices = wiring.devices if wiring is not None else ()
    return tuple((device.latch, device.bits) for device in devices if device.latch not in mine)
