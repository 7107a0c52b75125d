"""Files that a sweep can walk by before anything is known: gains as named or as scouted, no word that is believed."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from typing import Any

from harness.config import SettingsFile
from harness.learn.write.toml import whole
from harness.values import Setting

LEAST_STEP_RATIO = 1e-4
"""Ranges of the same gain still need an order."""
UNKNOWN_VPP = 1.0
"""Of a first range of which nothing is known: nothing is driven by it."""
HEADING = "Provisional: made to measure by, believed by nobody."


def range_scales_vpp(settings: SettingsFile, scouted: Mapping[Setting, float]) -> tuple[float, ...]:
    """Full scale of each range at its first fine position: as scouted, else as named.

    Args:
        settings: what is known from outside.
        scouted: gain at the device's input, codes a volt, by setting.
    Returns:
        V peak to peak, falling; a range of which nothing is known gets a little less than the one before.
    Source:
        converter span over gain.
    """
    span = float(2**settings.converter.bits)
    percents = settings.fine.percents() if settings.fine is not None else (100.0,)
    found: list[float] = []
    for index, named in enumerate(settings.coarse or (None,)):
        seen = [
            span / gain * 100.0 / percents[setting.fine if settings.fine is not None else 0]
            for setting, gain in scouted.items()
            if setting.coarse == index
        ]
        scale = min(seen) if seen else (named.full_scale_vpp if named is not None else None)
        most = found[-1] * (1.0 - LEAST_STEP_RATIO) if found else math.inf
        found.append(min(most if scale is None else scale, most, UNKNOWN_VPP if scale is None else math.inf))
    return tuple(found)


def device_tables(
    settings: SettingsFile, scales_vpp: tuple[float, ...], *, date: datetime.date, owner: str, scouting: bool = False
) -> dict[str, Any]:
    """A device file that holds the settings and gains to begin with.

    Args:
        settings: what is known from outside.
        scales_vpp: full scale of each range, falling.
        date: of the file.
        owner: who learns.
        scouting: whether gains are still looked for: then a record may hold products of arithmetic beyond the rails,
            for a range that clips at once must be told as such, whoever made its gain.
    Returns:
        tables of a device file.
    Source:
        none: a switch for the range times a table for the fine position.
    """
    words = settings.words.words() if settings.words is not None else ()
    fine = settings.fine.model_dump(exclude_none=True) if settings.fine is not None else {
        "first_db": 0.0, "last_db": LEAST_STEP_RATIO * len(words), "count": len(words),
    }  # fmt: skip
    count = int(fine["count"])
    span_v = 2**settings.converter.bits / settings.converter.codes_per_v
    names = settings.range_names
    tables: dict[str, Any] = {
        "kind": "device", "version": 1, "name": settings.name, "description": "Provisional.",
        "channels": settings.channels, "set_by": settings.set_by,
        "change": [{"version": 1, "date": date, "owner": owner, "reason": "to measure by"}],
        "input": settings.input.model_dump(exclude_unset=True),
        "converter": settings.converter.model_dump(exclude_unset=True) | ({"beyond_screen": True} if scouting else {}),
        "acquisition": settings.acquisition.model_dump(exclude_unset=True),
        "coarse": [
            {"name": name, "full_scale_vpp": scale, "controls": {"range": name}}
            # A command may name the range by its full scale: then it is the named one that must be sent.
            | ({"full_scale_vpp": entry.full_scale_vpp} if entry is not None and entry.full_scale_vpp else {})
            | ({"value": entry.value} if entry is not None and entry.value is not None else {})
            for name, scale, entry in zip(names, scales_vpp, settings.coarse or (None,), strict=True)
        ],
        "fine": fine,
        "stage": [
            {
                "name": "ranges", "kind": "switched-gain", "control": "range",
                "gains": {name: span_v / scale for name, scale in zip(names, scales_vpp, strict=True)},
            },
            _positions(settings, count),
        ],
        "firmware": {"rule": "table", "code": "code", "table": list(words or range(count))},
        "settle": settings.settle.model_dump(exclude_unset=True),
    }  # fmt: skip
    if settings.probed is not None:
        tables["bus"] = _bus(settings, count)
    return tables


def _positions(settings: SettingsFile, count: int) -> dict[str, Any]:
    if settings.words is not None:
        return {
            "name": "words", "kind": "linear-in-db", "control": "code", "bits": settings.words.bits,
            "intercept_db": 0.0, "slope_db_per_code": LEAST_STEP_RATIO,
        }  # fmt: skip
    percents = settings.fine.percents() if settings.fine is not None else (100.0,)
    gains = [percents[0] / percent for percent in percents]
    if count == 1:
        gains = [1.0, 1.0 + LEAST_STEP_RATIO]
    return {"name": "positions", "kind": "table", "control": "code", "bits": _bits(count), "gains": gains}


def _bits(count: int) -> int:
    return max(max(count - 1, 1).bit_length(), 1)


def _bus(settings: SettingsFile, count: int) -> dict[str, Any]:
    """Lines by the names that they were given; which is which is not believed unless words are loaded over them."""
    probed = settings.probed
    if probed is None:
        return {}
    bits = settings.words.bits if settings.words is not None else _bits(count)
    data, clock, *rest = (probed.data, probed.clock, *probed.latches) if probed.data else probed.lines
    if settings.words is not None:
        on_bus: list[dict[str, Any]] = [
            {"latch": latch, "bits": bits, "channel": channel} for channel, latch in enumerate(rest, start=1)
        ]
    else:
        on_bus = [{"latch": rest[0], "bits": bits, "channel": "all"}]
    return {
        "lines": list(probed.lines), "data": data, "clock": clock, "minimum_pulse_ns": probed.minimum_pulse_ns,
        "layout": [{"control": "code", "bits": bits}], "on_bus": on_bus,
    }  # fmt: skip


def limits_text(settings: SettingsFile, *, date: datetime.date, owner: str) -> str:
    """Limits that ask for nothing but a record.

    Args:
        settings: what is known from outside.
        date: of the file.
        owner: who learns.
    Returns:
        TOML.
    Source:
        none: a sweep needs a limits file.
    """
    row = {"item": "up-down", "low": -50.0, "high": 50.0, "unit": "percent", "owner": owner, "reason": "nothing yet"}
    return whole(
        {
            "kind": "limits", "version": 1, "name": f"{settings.name}, none yet", "rule": "simple",
            "change": [{"version": 1, "date": date, "owner": owner, "reason": "to measure by"}], "limit": [row],
        },
        heading=HEADING,
    )  # fmt: skip


def job_text(
    settings: SettingsFile,
    *,
    bench_path: str,
    fine: tuple[int, ...],
    fill_low: float,
    in_process: bool,
    date: datetime.date,
    owner: str,
) -> str:
    """A job that measures each setting on the way up and on the way down.

    Args:
        settings: what is known from outside.
        bench_path: of the bench file, relative to the job file.
        fine: fine positions to measure; empty for all.
        fill_low: least fill of a record, 0 to 0.5; below the usual where the source is weak.
        in_process: whether a simulated bench runs in this process.
        date: of the file.
        owner: who learns.
    Returns:
        TOML.
    Source:
        none.
    """
    tables: dict[str, Any] = {
        "kind": "job", "version": 1, "name": f"{settings.name}, learn", "device": "device.toml",
        "bench": bench_path, "limits": "limits.toml", "capture_words": False,
        "change": [{"version": 1, "date": date, "owner": owner, "reason": "to measure by"}],
        "ladder": {"directions": ["up", "down"], "fill_low": fill_low} | ({"fine": list(fine)} if fine else {}),
    }  # fmt: skip
    if in_process:
        tables["transport"] = "in-process"
    return whole(tables, heading=HEADING)
