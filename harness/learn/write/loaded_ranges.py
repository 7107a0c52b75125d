"""Ranges and fine positions for a bare gain stage: it has none of its own, so single bits make the ranges."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from harness.config import SettingsFile
from harness.learn.explain import Explained
from harness.learn.write.parts import digits, outside_bits
from harness.learn.write.range_parts import RangePart

MOST_POSITIONS = 101
STEP_DB = 0.5
WIDEST_DB = 1.0
"""Codes further apart than this are left out of the ranges."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedRanges:
    """What a sweep of the words that were loaded can walk."""

    ranges: tuple[RangePart, ...]
    span_db: float
    """Gain that the fine positions add, the same in all ranges."""
    count: int


def loaded_ranges(explained: Explained, settings: SettingsFile) -> LoadedRanges:
    """One range for each combination of single bits that counts, least gain first.

    Args:
        explained: with a law of words that were loaded.
        settings: what is known of the device.
    Returns:
        ranges over the gains that all of them reach, and fine positions of STEP_DB or more.
    Source:
        none: a choice that a device file needs.
    """
    single = outside_bits(explained)
    logs = explained.plain_logs()
    groups: dict[tuple[int, ...], list[float]] = {}
    for row, log in enumerate(logs):
        if math.isfinite(log):
            key = tuple(int(explained.seen.bits[row, place]) for place in single)
            groups.setdefault(key, []).append(float(log))
    dense = {key: _dense(group) for key, group in groups.items()}
    ordered = _apart(sorted(dense.items(), key=lambda entry: min(entry[1])))
    span = min(max(group) - min(group) for _, group in ordered)
    span_db = math.floor(20.0 * span / math.log(10.0) / STEP_DB) * STEP_DB
    count = min(round(span_db / STEP_DB) + 1, MOST_POSITIONS)
    ranges = tuple(
        RangePart(
            name=_name(min(group) - min(ordered[0][1]), index),
            full_scale_vpp=digits(2**settings.converter.bits / math.exp(min(group))),
            value=None,
            controls=dict(zip(single.values(), key, strict=True)),
            arithmetic_ratio=1.0,
            notes=("made of single bits: the device has no ranges of its own",),
        )
        for index, (key, group) in enumerate(ordered)
    )
    return LoadedRanges(ranges=ranges, span_db=span_db, count=max(count, 2))


def _dense(logs: list[float]) -> list[float]:
    """The upper part of the gains, where two neighbours are near enough that a fine position means something."""
    ordered = sorted(logs)
    far = [k for k, (a, b) in enumerate(itertools.pairwise(ordered)) if b - a > WIDEST_DB / 20.0 * math.log(10.0)]
    return ordered[far[-1] + 1 :] if far and far[-1] + 1 < len(ordered) - 1 else ordered


def _apart(
    groups: list[tuple[tuple[int, ...], list[float]]],
) -> list[tuple[tuple[int, ...], list[float]]]:
    """Without combinations that start from the same gain as the one before: they differ in bits that do nothing."""
    found: list[tuple[tuple[int, ...], list[float]]] = []
    for key, group in groups:
        if len(group) > 1 and (not found or min(group) - min(found[-1][1]) > 0.01):
            found.append((key, group))
    return found or groups[:1]


def _name(log: float, index: int) -> str:
    return f"x{math.exp(log):.4g}" if index else "x1"
