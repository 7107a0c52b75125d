"""`gainladder golden station`: a station looks at itself with a good unit connected, and the record keeps it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from harness.amplitude import fit_sine3
from harness.app.golden.looks import station_of
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup
from harness.errors import StationFault
from harness.judge.golden import bus_part, factor_part, loop_part, noise_part, worst_of
from harness.ladder import pattern_rungs, quiet_rungs
from harness.store import Clock, Store, add_note
from harness.sweep import NOISE_WINDOW_RATIO
from harness.values import (
    STATION_CHECK,
    Outcome,
    Purpose,
    Reading,
    ReadingStatus,
    StationCheck,
    StationPart,
    station_check_text,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What came of it."""

    check: StationCheck
    run_id: str

    @property
    def lines(self) -> tuple[str, ...]:
        """For people."""
        head = f"{self.check.outcome}  station {self.check.station}, with unit {self.check.unit}"
        return (
            head,
            *(f"  {part.outcome or 'not made':<12} {part.name:<14} {part.text}" for part in self.check.parts),
        )


    @property
    def content(self) -> dict[str, Any]:
        """For `--json`."""
        return {
            "run": self.run_id, "station": self.check.station, "unit": self.check.unit,
            "outcome": str(self.check.outcome), "parts": [dataclasses.asdict(part) for part in self.check.parts],
        }  # fmt: skip


def station_setup(setup: Setup) -> Setup:
    """The job's setup with the few settings of the look in the place of its ladder."""
    rungs = pattern_rungs(setup.rungs)
    channels = sorted({rung.setting.channel for rung in rungs})
    extras = quiet_rungs(setup.device, setup.law, channels, first_index=len(rungs))
    return replace(setup, rungs=rungs, extras=extras, anchors=(), job=setup.job.model_copy(update={"anchors": None}))


def conclude_station(
    store: Store, setup: Setup, run_id: str, fault: StationFault | None, clock: Clock
) -> Looked:
    """Decide from the record; the result is in the run's journal on return. `setup` is that of the look."""
    header = store.header(run_id)
    judge = judge_of(setup, waveforms=False)
    readings = list(store.readings(run_id))
    for reading in readings:
        judge.add(reading)
    result = judge.result(store.events(run_id))
    parts = [
        loop_part(list(_meter_percent(setup, readings)), allowed_percent=plan_of(setup).agreement_percent),
        factor_part(result, allowed_percent=setup.bench.file.self_check_percent),
        noise_part(dict(_noise(setup, readings)), most_ratio=NOISE_WINDOW_RATIO),
        bus_part(result),
    ]
    if fault is not None:
        text = f"{fault.fault}: {fault}"
        parts = [StationPart(name="self-check", outcome=Outcome.INVALID, text=text)]
    outcome = worst_of([part.outcome for part in parts])
    check = StationCheck(station=station_of(setup), unit=header.unit, outcome=outcome, parts=tuple(parts))
    add_note(store, run_id, STATION_CHECK, station_check_text(check), clock)
    return Looked(check=check, run_id=run_id)


def _meter_percent(setup: Setup, readings: list[Reading]) -> Iterator[float]:
    for reading in readings:
        told_vpk = reading.drive_read_vpk * setup.terminal_ratio
        if reading.status is ReadingStatus.VALID and reading.meter_vpk and told_vpk > 0.0:
            yield 100.0 * math.log(reading.meter_vpk / told_vpk)


def _noise(setup: Setup, readings: list[Reading]) -> Iterator[tuple[str, float]]:
    typical = setup.device.quiet_noise
    for reading in readings:
        wave = reading.waveform
        if typical is None or reading.purpose is not Purpose.QUIET or wave is None:
            continue
        hz = setup.device.acquisition.frequency_hz
        noise_code = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=hz).noise_code
        yield f"ch{reading.setting.channel}", noise_code / typical.noise_code
