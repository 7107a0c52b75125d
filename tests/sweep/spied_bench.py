"""A bench in memory whose links can be spoiled and whose calls are written down; rungs of the CI job."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from harness.app.run import plan_of
from harness.app.setup import read_setup
from harness.errors import StoreUnavailable
from harness.sweep import Bench, sweep
from harness.values import Direction, Reading, ReadingStatus, Rung, Setting

JOB = str(Path(__file__).resolve().parents[2] / "configs" / "jobs" / "ci.toml")
SETUP = read_setup(JOB)
PLAN = plan_of(SETUP)


class Call(NamedTuple):
    """One call of an instrument, written down before it is carried out."""

    role: str
    verb: str
    arguments: tuple[Any, ...]


class Spy:
    """Passes every call on and writes it down; `before` may raise instead."""

    def __init__(self, target: Any, role: str, rig: Rig) -> None:
        self._target, self._role, self._rig = target, role, rig

    def __getattr__(self, verb: str) -> Any:
        found = getattr(self._target, verb)
        if not callable(found):
            return found

        def call(*arguments: Any) -> Any:
            made = Call(self._role, verb, arguments)
            self._rig.calls.append(made)
            self._rig.before(made)
            return found(*arguments)

        return call


class Notebook:
    """A recorder in memory; `full_at` is the number of readings at which its disk is full."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self.notes: list[tuple[str, str]] = []
        self.full_at: int | None = None

    def record(self, reading: Reading) -> None:
        if self.full_at is not None and len(self.readings) >= self.full_at:
            raise StoreUnavailable("the disk is full")
        self.readings.append(reading)

    def note(self, kind: str, text: str) -> None:
        if self.full_at is not None and len(self.readings) >= self.full_at:
            raise StoreUnavailable("the disk is full")
        self.notes.append((kind, text))

    def texts(self, kind: str) -> list[str]:
        return [text for noted, text in self.notes if noted == kind]


class Rig:
    """A bench, the plan for it, what was recorded, and what was called."""

    def __init__(self, bench: Bench, rungs: Sequence[Rung]) -> None:
        self.calls: list[Call] = []
        self.before: Callable[[Call], None] = lambda call: None
        self.after: Callable[[int, Reading], None] = lambda done, reading: None
        self.stop: Callable[[], bool] = lambda: False
        self.notebook = Notebook()
        self.plan = dataclasses.replace(PLAN, rungs=tuple(rungs), overlap=False)
        self._instruments = {"source": bench.source, "device": bench.device, "adapter": bench.adapter}
        self._instruments["aggressor"] = bench.aggressor
        self.bench = Bench(
            source=Spy(bench.source, "source", self),
            device=Spy(bench.device, "device", self),
            adapter=Spy(bench.adapter, "adapter", self) if bench.adapter is not None else None,
            clock=bench.clock,
            aggressor=Spy(bench.aggressor, "aggressor", self) if bench.aggressor is not None else None,
        )

    @property
    def readings(self) -> list[Reading]:
        return self.notebook.readings

    @property
    def statuses(self) -> list[ReadingStatus]:
        return [reading.status for reading in self.readings]

    @property
    def verbs(self) -> list[str]:
        return [f"{call.role}.{call.verb}" for call in self.calls]

    def link(self, role: str) -> Any:
        return self._instruments[role]._link

    def output_is_on(self) -> bool:
        """What the source itself says, past any link."""
        return self.link("source")._instrument.handle(b"OUTP?").strip() == b"1"

    def sweep(self, **changes: Any) -> None:
        plan = dataclasses.replace(self.plan, **changes)
        sweep(self.bench, plan, self.notebook, progress=lambda d, r: self.after(d, r), stop=lambda: self.stop())


def rungs_at(*places: tuple[int, int, int]) -> list[Rung]:
    """Rungs of the CI job on the way up, by channel, coarse and fine."""
    by_setting = {rung.setting: rung for rung in PLAN.rungs if rung.direction is Direction.UP}
    return [by_setting[Setting(*place)] for place in places]


def amplitude_code(reading: Reading) -> float:
    """Largest projection on a sine of the test frequency: closed form, no fit of ours."""
    wave = reading.waveform
    t_s = np.arange(wave.codes.size) / wave.sample_rate_hz
    cosine, sine = (wave.codes @ f(2 * np.pi * reading.frequency_hz * t_s) for f in (np.cos, np.sin))
    return 2.0 * float(np.hypot(cosine, sine)) / wave.codes.size


def error_percent(reading: Reading, rung: Rung) -> float:
    """How far the recorded gain is from the law."""
    gain_codes_per_v = amplitude_code(reading) / (reading.drive_read_vpk * PLAN.input_ratio)
    return 100.0 * float(np.log(gain_codes_per_v / rung.prediction.gain_codes_per_v))
