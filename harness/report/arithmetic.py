"""Which settings are only arithmetic, and how to say so in few words."""

from __future__ import annotations

from collections.abc import Sequence

from harness.report.labels import range_name
from harness.report.words import count, listed
from harness.values import Realness, RunResult, SettingResult

PARTLY = (Realness.ARITHMETIC, Realness.MIXED)


def arithmetic_settings(result: RunResult) -> tuple[SettingResult, ...]:
    """Which settings owe their gain to arithmetic, wholly or in part.

    Args:
        result: of a run.
    Returns:
        their rows, in the order of the run.
    """
    return tuple(row for row in result.settings if row.realness in PARTLY)


def arithmetic_ranges(result: RunResult) -> tuple[str, ...]:
    """Which ranges hold at least one arithmetic setting.

    Args:
        result: of a run.
    Returns:
        their names, least sensitive first.
    """
    coarse = sorted({row.setting.coarse for row in arithmetic_settings(result)})
    return tuple(range_name(index, result) for index in coarse)


def arithmetic_lines(result: RunResult) -> tuple[str, ...]:
    """The arithmetic settings in words, one line a range; and declared ranges that were not found so.

    Args:
        result: of a run.
    Returns:
        lines such as `84 settings: the whole 10mV range on all channels; declared`; empty for nothing to say.
    """
    found = arithmetic_settings(result)
    lines = [
        _line(coarse, [row for row in found if row.setting.coarse == coarse], result)
        for coarse in sorted({row.setting.coarse for row in found})
    ]
    seen = {row.setting.coarse for row in found}
    tested = {row.setting.coarse for row in result.settings if row.attempts}
    for coarse in result.declared_arithmetic:
        if coarse in tested and coarse not in seen:
            lines.append(f"the {range_name(coarse, result)} range is declared arithmetic, but was not found so")
    return tuple(lines)


def _line(coarse: int, found: Sequence[SettingResult], result: RunResult) -> str:
    planned = [row.setting for row in result.settings if row.setting.coarse == coarse]
    channels = sorted({row.setting.channel for row in found})
    there = [setting for setting in planned if setting.channel in channels]
    all_channels = channels == sorted({row.setting.channel for row in result.settings})
    where = "all channels" if all_channels and len(channels) > 1 else listed([f"ch{channel}" for channel in channels])
    name = range_name(coarse, result)
    part = f"the whole {name} range" if len(found) == len(there) else f"of {len(there)} in the {name} range"
    if len(found) < len(there):
        return f"{len(found)} {part} on {where}; {_said(coarse, result)}"
    return f"{count(len(found), 'setting')}: {part} on {where}; {_said(coarse, result)}"


def _said(coarse: int, result: RunResult) -> str:
    return "declared" if coarse in result.declared_arithmetic else "NOT declared"
