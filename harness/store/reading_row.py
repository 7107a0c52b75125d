"""A reading as a row, and back, without loss."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from typing import Any

from harness.errors import NotFinite, StoreError
from harness.store.blobs import CODES, LEVELS, TIMES, listed, numbers, packed, pairs, texts, unpacked
from harness.store.dropped_row import kept_of
from harness.store.numbers import finite
from harness.values import Capture, Direction, Purpose, Reading, ReadingStatus, Setting, Waveform

Row = dict[str, Any]


def row_of(reading: Reading, place: str) -> Row:
    """The row of a reading.

    Args:
        reading: what to record.
        place: the run and the reading, for messages.
    Raises:
        NotFinite: a float is NaN, infinite, 9.9E37 or 9.91E37.
        StoreError: an array is of another type than the one of its record; the raw data were dropped before.
    """
    if reading.kept is not None:
        raise StoreError(f"{place}: its raw data were dropped; allowed is a reading with its own: nothing was recorded")
    return {
        "reading": int(reading.index),
        "channel": int(reading.setting.channel),
        "coarse": int(reading.setting.coarse),
        "fine": int(reading.setting.fine),
        "direction": reading.direction.value,
        "attempt": int(reading.attempt),
        "status": reading.status.value,
        "reason": reading.reason,
        "drive_set_vpk": finite(reading.drive_set_vpk, "drive_set_vpk", place),
        "drive_read_vpk": finite(reading.drive_read_vpk, "drive_read_vpk", place),
        "frequency_hz": finite(reading.frequency_hz, "frequency_hz", place),
        "capture_reason": reading.capture_reason,
        "read_back": listed(reading.read_back),
        "messages": listed(reading.messages),
        "started_utc": reading.started_utc,
        "started_s": finite(reading.started_s, "started_s", place),
        "duration_s": finite(reading.duration_s, "duration_s", place),
        "purpose": reading.purpose.value,
        "aggressor_vpk": finite(reading.aggressor_vpk, "aggressor_vpk", place),
        "aggressor_hz": finite(reading.aggressor_hz, "aggressor_hz", place),
        "meter_vpk": None if reading.meter_vpk is None else finite(reading.meter_vpk, "meter_vpk", place),
        "steady_v": _steady_text(reading, place),
        "records": int(reading.records),
        "stopped": reading.stopped,
        **_waveform_row(reading.waveform, place),
        **_capture_row(reading.capture, place),
    }


def _steady_text(reading: Reading, place: str) -> str:
    levels_v = [finite(level_v, "steady_v", place) for level_v in reading.steady_v]
    return listed(levels_v) if levels_v else ""


def _waveform_row(waveform: Waveform | None, place: str) -> Row:
    if waveform is None:
        return dict.fromkeys(("samples", "codes", "sample_rate_hz", "scale_v_per_code", "sequence", "acquisition"))
    return {
        "samples": int(waveform.codes.size),
        "codes": packed(waveform.codes, CODES, f"{place}: waveform codes"),
        "sample_rate_hz": finite(waveform.sample_rate_hz, "sample_rate_hz", place),
        "scale_v_per_code": finite(waveform.scale_v_per_code, "scale_v_per_code", place),
        "sequence": int(waveform.sequence),
        "acquisition": waveform.mode,
    }


def _capture_row(capture: Capture | None, place: str) -> Row:
    names = ("events", "times_ns", "levels", "unknown", "initial", "lines", "dropped")
    if capture is None:
        return dict.fromkeys(f"bus_{name}" for name in names)
    unknown = capture.unknown
    return {
        "bus_events": int(capture.times_ns.size),
        "bus_times_ns": packed(capture.times_ns, TIMES, f"{place}: capture times"),
        "bus_levels": packed(capture.levels, LEVELS, f"{place}: capture levels"),
        "bus_unknown": None if unknown is None else packed(unknown, LEVELS, f"{place}: capture unknown levels"),
        "bus_initial": int(capture.initial),
        "bus_lines": listed(capture.lines),
        "bus_dropped": int(capture.dropped),
    }


def reading_of(row: Mapping[str, Any], place: str, dropped: Mapping[str, Any] | None = None) -> Reading:
    """The reading of a row, and of the row of what was kept where its raw data were dropped.

    Raises:
        StoreError: the row is damaged; names the reading.
    """
    name = f"{place}, reading {row['reading']}"
    try:
        return Reading(
            index=row["reading"],
            setting=Setting(row["channel"], row["coarse"], row["fine"]),
            direction=Direction(row["direction"]),
            attempt=row["attempt"],
            status=ReadingStatus(row["status"]),
            reason=row["reason"],
            drive_set_vpk=row["drive_set_vpk"],
            drive_read_vpk=row["drive_read_vpk"],
            frequency_hz=row["frequency_hz"],
            waveform=_waveform_of(row),
            capture=_capture_of(row),
            capture_reason=row["capture_reason"],
            read_back=pairs(row["read_back"]),
            messages=texts(row["messages"]),
            started_utc=row["started_utc"],
            started_s=row["started_s"],
            duration_s=row["duration_s"],
            purpose=Purpose(row["purpose"]),
            aggressor_vpk=row["aggressor_vpk"],
            aggressor_hz=row["aggressor_hz"],
            kept=None if dropped is None else kept_of(dropped, row["scale_v_per_code"]),
            meter_vpk=row["meter_vpk"],
            steady_v=numbers(row["steady_v"]),
            records=row["records"],
            stopped=row["stopped"],
        )
    except (StoreError, NotFinite, ValueError, TypeError, KeyError, zlib.error) as error:
        raise StoreError(
            f"{name}: the record is damaged ({error}): restore the store from a backup; the other readings may be sound"
        ) from error


def _waveform_of(row: Mapping[str, Any]) -> Waveform | None:
    if row["codes"] is None:
        return None
    return Waveform(
        codes=unpacked(row["codes"], CODES, row["samples"], "waveform codes"),
        sample_rate_hz=row["sample_rate_hz"],
        scale_v_per_code=row["scale_v_per_code"],
        sequence=row["sequence"],
        mode=row["acquisition"],
    )


def _capture_of(row: Mapping[str, Any]) -> Capture | None:
    if row["bus_times_ns"] is None:
        return None
    events, unknown = row["bus_events"], row["bus_unknown"]
    return Capture(
        times_ns=unpacked(row["bus_times_ns"], TIMES, events, "capture times"),
        levels=unpacked(row["bus_levels"], LEVELS, events, "capture levels"),
        initial=row["bus_initial"],
        lines=texts(row["bus_lines"]),
        dropped=row["bus_dropped"],
        unknown=None if unknown is None else unpacked(unknown, LEVELS, events, "capture unknown levels"),
    )
