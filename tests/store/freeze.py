"""Keeps one small store of each version of the schema for ever, so that a later gainladder is held to reading it.

Run once, in the commit that raises the version: python -m tests.store.freeze
"""

from __future__ import annotations

import dataclasses
import sqlite3
import sys
from pathlib import Path

import numpy as np

from harness.store import DROPPED_KIND, drop_raw, keep_summary, open_store
from harness.store.schema import VERSION
from harness.values import (
    Capture,
    Charted,
    Direction,
    Event,
    HeldItem,
    Identity,
    Kept,
    KeptWord,
    NightPlace,
    Outcome,
    Purpose,
    Quality,
    Reading,
    ReadingStatus,
    RunHeader,
    RunSummary,
    Setting,
    SineFit,
    Waveform,
)

FOLDER = Path(__file__).parent / "schemas"
RUN = "20261125T100000Z-0ld5tore"
READINGS = 3


class FrozenClock:
    """Always the same moment."""

    def now_s(self) -> float:
        return 1.5

    def utc(self) -> str:
        return "2026-11-25T10:00:00.000000Z"


def frozen(version: int) -> Path:
    return FOLDER / f"schema-{version}.sqlite"


def the_header(version: int) -> RunHeader:
    """What a store of a version holds before the first reading; a later version adds fields, it changes no old one."""
    night = NightPlace(
        night_id="20261125T090000Z-n1ght", visit=4, corner="hot, low", cycle=1, temperature_c=50.0, supply_v=None,
        planned=9,
    )
    return RunHeader(
        run_id=RUN, unit="Ω-1", operator="müller", started_utc="2026-11-25T10:00:00.000000Z", mode="simulated",
        seed=2**100, faults=("latch-missing:2",), planned=READINGS, files=(), software="0.1.0",
        identities=(("source", Identity(manufacturer="Machair", model="SG-1", serial="0042", firmware="1.0")),),
        night=night if version >= 7 else None,
    )  # fmt: skip


KEPT = Kept(
    rule="none", at_utc="2026-11-25T10:00:02.000000Z", outcome="PASS", limits_sha256="0" * 64, reason="",
    fit=SineFit(amplitude_code=1 / 3, offset_code=-1 / 7, phase_rad=1.0, noise_code=0.5, samples=40),
    quality=Quality(fill_ratio=0.75, railed=0, code_spacing=1, clipped=False, underfilled=False, reason=""),
    words=(KeptWord(value=None, text="no latch (Ω)", sound=True), KeptWord(value=5, text="latch-2:05", sound=True)),
    scale_v_per_code=0.001,
)  # fmt: skip


SUMMARY = RunSummary(
    run_id=RUN, at_utc="2026-11-25T10:00:03.000000Z", software="0.1.0", limits_sha256="0" * 64, verdict=Outcome.FAIL,
    complete=False, seconds=1 / 3, tested=2, failing=1,
    items=(HeldItem("gain", "percent", -2.0, None, 2, 1, "FAIL", -1 / 7, 0.5, 1 / 7, None),),
    diagnoses=("latch-missing",), invalid=(("timeout (Ω)", 1),),
    charted=(Charted("ch1 ln K", -1 / 3, None, 1.0, "percent"),),
)  # fmt: skip


def the_reading(index: int, version: int) -> Reading:
    """What a store of a version holds under an index; a later version adds fields, it changes no old one."""
    recorded = recorded_reading(index, version)
    dropped = version >= 10 and index == 0
    return dataclasses.replace(recorded, waveform=None, capture=None, kept=KEPT) if dropped else recorded


def recorded_reading(index: int, version: int) -> Reading:
    """The same before any raw data were dropped."""
    codes = (np.arange(40) * 37 % 4096 - 2048 + index).astype(np.int16)
    times = np.arange(6, dtype=np.int64) * 250
    sound = index != 1
    since_3 = {"purpose": Purpose.CROSSTALK, "aggressor_vpk": 2.5, "aggressor_hz": 2875.0} if index == 2 else {}
    since_6 = {"meter_vpk": 1 / 7} if index == 0 else {}
    since_9 = {"steady_v": (-1 / 3, -1 / 7)} if index == 2 else {}
    since_11 = {"records": 3, "stopped": "certain"} if index == 0 else {}
    return Reading(
        index=index, setting=Setting(1, 2, index), direction=Direction.DOWN, attempt=0,
        status=ReadingStatus.VALID if sound else ReadingStatus.INVALID, reason="" if sound else "timeout",
        drive_set_vpk=0.1, drive_read_vpk=1 / 3, frequency_hz=997.0,
        waveform=Waveform(codes=codes, sample_rate_hz=1e6, scale_v_per_code=0.001, sequence=7) if sound else None,
        capture=Capture(times_ns=times, levels=np.arange(6, dtype=np.uint8), initial=5, lines=("data", "clock"))
        if sound else None,
        capture_reason="" if sound else "nothing came", read_back=(("load", "50 Ω"),), messages=("source: -222",),
        started_utc="2026-11-25T10:00:01.000000Z", started_s=12.5, duration_s=0.25, **(since_3 if version >= 3 else {}),
        **(since_6 if version >= 6 else {}), **(since_9 if version >= 9 else {}),
        **(since_11 if version >= 11 else {}),
    )  # fmt: skip


def write(path: Path, *, dropped: bool = False) -> None:
    """A store of today's version; without a write-ahead log and with small pages, for it goes into the project."""
    with open_store(str(path)) as store:
        recorder = store.begin(the_header(VERSION), FrozenClock())
        for index in range(READINGS):
            recorder.record(recorded_reading(index, VERSION))
        recorder.note("retry", "source: no answer")
        recorder.finish("interrupted", "Ctrl-C")
        if dropped:
            line = Event(at_utc=KEPT.at_utc, at_s=2.5, kind=DROPPED_KIND, text="raw data of 1 of 3 readings dropped")
            drop_raw(store, RUN, {0: KEPT}, line)
            keep_summary(store, SUMMARY)
    connection = sqlite3.connect(path)
    for statement in ("PRAGMA journal_mode = DELETE", "PRAGMA page_size = 512", "VACUUM"):
        connection.execute(statement).fetchall()
    connection.close()


if __name__ == "__main__":
    if frozen(VERSION).exists():
        sys.exit(f"{frozen(VERSION).name} is there already: a frozen file is never written again; raise VERSION first")
    write(frozen(VERSION), dropped=True)
    print(frozen(VERSION).name)
