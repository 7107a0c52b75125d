"""A whole session on a random device, in memory: what the command does, without files and store."""

from __future__ import annotations

import dataclasses
import datetime
import math
from dataclasses import dataclass

import numpy as np

from harness.config import BenchFile, DeviceFile, SettingsFile, parse, validate
from harness.config.job_file import Ladder
from harness.ladder import build as build_ladder
from harness.ladder import input_ratio
from harness.law import build as build_law
from harness.learn import (
    Explained,
    Heard,
    Rule,
    captures_of,
    device_tables,
    draft_of,
    explain,
    find_rule,
    gather_readings,
    hear,
    moves,
    range_scales_vpp,
)
from harness.learn.readings import Gathered
from harness.sweep import SweepPlan, scout, sweep
from harness.values import Reading, Setting
from tests.learn.random_bench import CYCLES, LEAST_VPK, MOST_VPK, RATE_HZ, SAMPLES, random_bench
from tests.learn.random_truth import CODES_PER_V, Truth

DATE = datetime.date(2026, 11, 30)
BENCH = """
kind = "bench"
version = 1
name = "random"
max_level_vpk = 10.0
change = [{ version = 1, date = 2026-11-30, owner = "x", reason = "x" }]
source = { profile = "x", address = "x", serial = "x" }
device = { profile = "x", address = "x", serial = "x" }
wiring = { source_ohm = 1e-3, load_ohm = 1e9, told_ohm = "high-z" }
"""


class Kept:
    """A recorder in memory."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []

    def record(self, reading: Reading) -> None:
        self.readings.append(reading)

    def note(self, kind: str, text: str) -> None:
        pass


@dataclass(frozen=True)
class Session:
    """What a session found."""

    truth: Truth
    settings: SettingsFile
    heard: Heard
    gathered: Gathered
    explained: Explained
    rule: Rule


def settings_of(truth: Truth, *, probed: bool = True) -> SettingsFile:
    """What somebody knows of the device from outside."""
    volts = truth.scales_vpp()
    ranges = [
        {"name": f"r{k}", "value": float(k)} | ({"full_scale_vpp": v} if truth.names_volts else {})
        for k, v in enumerate(volts)
    ]
    tables = {
        "kind": "settings", "version": 1, "name": f"random {truth.seed}", "channels": truth.channels,
        "change": [{"version": 1, "date": DATE, "owner": "x", "reason": "x"}],
        "input": {"impedance_ohm": 1e6, "limit": [{"impedance_ohm": 1e6, "max_vpk": MOST_VPK}]},
        "converter": {"bits": 12, "low_code": -2048, "high_code": 2047, "codes_per_v": CODES_PER_V},
        "acquisition": {"sample_rate_hz": RATE_HZ, "samples": SAMPLES, "cycles": CYCLES},
        "coarse": ranges, "fine": {"first_db": 0.0, "last_db": truth.span_db, "count": truth.fine},
        "settle": {"coarse_s": 0.0, "fine_s": 0.0},
    }  # fmt: skip
    if probed:
        tables["probed"] = {"lines": list(random_bench(truth).adapter.lines)}
    return validate(SettingsFile, tables, file="settings")


def measured(truth: Truth, settings: SettingsFile) -> tuple[Heard | None, DeviceFile, list[Reading], float]:
    """Listen, scout, sweep."""
    bench_file = parse(BenchFile, BENCH, file="bench")
    bench = random_bench(truth)
    heard = None
    if settings.probed is not None:
        visits = tuple(moves(settings.channels, len(settings.coarse), len(settings.fine_names)))
        heard = hear(captures_of(bench, visits), minimum_pulse_ns=30.0, channels=settings.channels)
    ratio = input_ratio(bench_file.wiring)
    scales = range_scales_vpp(settings, {})
    found = scout(bench, _plan(_device(settings, scales), (), ratio), [Setting(1, k, 0) for k in range(len(scales))])
    gains = {one.setting: one.gain_codes_per_v for one in found if one.gain_codes_per_v}
    device = _device(settings, range_scales_vpp(settings, gains))
    law = build_law(device, file="provisional")
    rungs = build_ladder(
        law, device, bench_file, Ladder(fill_low=0.05), source_min_vpk=LEAST_VPK, source_max_vpk=MOST_VPK, file="job"
    )
    kept = Kept()
    sweep(bench, _plan(device, rungs, ratio), kept, progress=lambda done, reading: None)
    return heard, device, kept.readings, ratio


def _device(settings: SettingsFile, scales: tuple[float, ...]) -> DeviceFile:
    return validate(DeviceFile, device_tables(settings, scales, date=DATE, owner="x"), file="provisional")


def _plan(device: DeviceFile, rungs: tuple, ratio: float) -> SweepPlan:
    return SweepPlan(
        rungs=rungs, device=device, fill_target=0.75, fill_low=0.05, fill_high=0.95, retries=0,
        level_limit_vpk=MOST_VPK, level_least_vpk=LEAST_VPK, input_ratio=ratio, terminal_ratio=ratio,
        self_check_percent=5.0,
    )  # fmt: skip


def learned(seed: int, departs: str = "") -> Session:
    """The whole session of one seed."""
    truth = Truth(seed, departs)
    settings = settings_of(truth)
    heard, device, readings, ratio = measured(truth, settings)
    gathered = gather_readings(readings, device=device, wiring=heard.wiring, latches=heard.latches, input_ratio=ratio)
    explained = explain(gathered.observed, waves=gathered.waves, named=settings.named_gains() or None)
    rule = find_rule(explained, draft_of(explained, settings, heard.wiring, date=DATE, owner="x"))
    return Session(truth=truth, settings=settings, heard=heard, gathered=gathered, explained=explained, rule=rule)


def held_out(session: Session, *, every: int = 3) -> np.ndarray:
    """Errors of predicted gains over their stated standard uncertainty, for settings whose gains were hidden."""
    hidden = {one.setting for k, one in enumerate(session.gathered.observed) if k % every == 1}
    observed = [
        dataclasses.replace(one, gain_codes_per_v=None) if one.setting in hidden else one
        for one in session.gathered.observed
    ]
    waves = {s: w for s, w in session.gathered.waves.items() if s not in hidden}
    explained = explain(observed, waves=waves, named=session.settings.named_gains() or None)
    found, gains, u = [], explained.gains_codes_per_v(), explained.u_ratio()
    for row, setting in enumerate(explained.seen.settings):
        if setting in hidden and math.isfinite(gains[row]):
            measured_gain = next(o.gain_codes_per_v for o in session.gathered.observed if o.setting == setting)
            if measured_gain:
                found.append(math.log(gains[row] / measured_gain) / u[row])
    return np.asarray(found)
