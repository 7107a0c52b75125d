"""What a page shows of single readings and over the time of a run, from the record."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from datetime import datetime

from harness.app.setup import Setup, setup_of_run
from harness.judge.closer import code_counts, record_residual, suspicious_setting, worst_measured
from harness.judge.measured import measure
from harness.store import Store
from harness.values import (
    Course,
    Event,
    Purpose,
    Reading,
    ReadingStatus,
    RunDetail,
    RunHeader,
    RunResult,
    Setting,
    conditions_of,
)

UNITS = {"probe_c": "°C", "air_c": "°C", "supply_v": "V", "supply_a": "A"}
"""Of conditions."""
MOST_TRIES = 20
"""Attempts at a setting that are looked through for its first sound record."""


def detail_of(store: Store, header: RunHeader, result: RunResult) -> RunDetail:
    """The records worth a look, and the courses of anchors and conditions."""
    run_id = header.run_id
    settings = store.settings(run_id)
    events = store.events(run_id)
    suspicious, worst = suspicious_setting(result), worst_measured(result)
    setup = setup_of_run(header)
    codes = record = None
    if suspicious is not None and (reading := _sound(store, run_id, settings, suspicious.setting)) is not None:
        codes = code_counts(reading, suspicious)
    if worst is not None and (reading := _sound(store, run_id, settings, worst.setting)) is not None:
        record = record_residual(reading, worst, setup.device.acquisition)
    return RunDetail(
        codes=codes,
        record=record,
        courses=(*_anchors(store, header, result, setup, events), *_conditions(header, events)),
    )


def _sound(store: Store, run_id: str, settings: tuple[Setting, ...], wanted: Setting) -> Reading | None:
    """The first sound reading of a setting for the ladder; only those at the setting are fetched."""
    for index in [index for index, setting in enumerate(settings) if setting == wanted][:MOST_TRIES]:
        found = next(iter(store.readings(run_id, after=index - 1)), None)
        if found is not None and found.status is ReadingStatus.VALID and found.purpose is Purpose.LADDER:
            return found
    return None


def _anchors(
    store: Store, header: RunHeader, result: RunResult, setup: Setup, events: tuple[Event, ...]
) -> Iterator[Course]:
    """Only runs with anchors are read through again: those whose job has them, and those that were resumed."""
    if setup.job.anchors is None and not any(event.kind == "resumed" for event in events):
        return
    gains: dict[Setting, list[tuple[float, float]]] = {}
    for reading in store.readings(header.run_id):
        if reading.purpose is Purpose.ANCHOR and reading.status is ReadingStatus.VALID:
            gain = measure(
                reading, device=setup.device, bus=None, latches=(), input_ratio=setup.input_ratio
            ).gain_codes_per_v
            if gain is not None:
                gains.setdefault(reading.setting, []).append((_minutes(header, reading.started_utc), gain))
    labels = {row.setting: row.label for row in result.settings}
    for setting, points in gains.items():
        first = points[0][1]
        yield Course(
            name=labels.get(setting, str(setting)),
            unit="%",
            points=tuple((minutes, 100.0 * math.log(gain / first)) for minutes, gain in points),
        )


def _conditions(header: RunHeader, events: tuple[Event, ...]) -> Iterator[Course]:
    found = sorted(itertools.chain.from_iterable(map(conditions_of, events)), key=lambda one: one.name)
    for name, group in itertools.groupby(found, key=lambda one: one.name):
        points = tuple((_minutes(header, one.at_utc), one.value) for one in group)
        yield Course(name=name, unit=UNITS.get(name, ""), points=points)


def _minutes(header: RunHeader, at_utc: str) -> float:
    return (datetime.fromisoformat(at_utc) - datetime.fromisoformat(header.started_utc)).total_seconds() / 60.0
