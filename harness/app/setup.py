"""A job with everything it names: read, checked, built; nothing is opened here."""

from __future__ import annotations

import posixpath
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from harness.app.averaging import averaging_problems
from harness.app.files import FileSet, beside
from harness.app.wiring import wiring_of
from harness.bus import BusWiring
from harness.config import BenchFile, DeviceFile, InstrumentFile, InstrumentSlot, JobFile, LadderFile, LimitsFile, Night
from harness.config.bench_file import Wiring
from harness.errors import ConfigError, Problem
from harness.judge import LimitSet, hardware_underneath
from harness.judge import build as build_limits
from harness.ladder import (
    Drive,
    Ground,
    OtherSource,
    anchor_rungs,
    drive_of,
    input_ratio,
    is_audited,
    plan_extras,
    terminal_ratio,
)
from harness.ladder import build as build_ladder
from harness.law import GainLaw, design_matrix
from harness.law import build as build_law
from harness.values import ConfigFile, Rung, RunHeader, Setting

Built = TypeVar("Built")


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSetup:
    """A bench with the profiles of its instruments."""

    path: str
    file: BenchFile
    profiles: Mapping[str, InstrumentFile]
    """By role."""

    @property
    def source_range(self) -> tuple[float, float]:
        """Least and most level of the source for the load it is told, V peak."""
        return self._range("source", self.file.wiring)

    @property
    def steady_step_v(self) -> float | None:
        """Least step of the source's steady levels, V; None where it has none."""
        ranges = self.profiles["source"].ranges
        return None if ranges is None else ranges.steady_step_v

    def _range(self, role: str, wiring: Wiring) -> tuple[float, float]:
        ranges = self.profiles[role].ranges
        if ranges is None:  # pragma: no cover - a source profile without ranges does not pass its own check
            raise ConfigError(())
        told = wiring.told_ohm
        share = 1.0 if told == "high-z" else told / (told + wiring.source_ohm)
        return ranges.min_vpk * share, ranges.max_vpk * share

    def drive(self, device: DeviceFile, span_codes: int) -> Drive:
        """What the source may put out: the limits of device and bench hold with the load gone."""
        least_vpk, most_vpk = self.source_range
        return drive_of(device, self.file, span_codes=span_codes, source_min_vpk=least_vpk, source_max_vpk=most_vpk)

    def other(self, device: DeviceFile, span_codes: int) -> OtherSource | None:
        """The source of another channel, by the same limits; None where the bench has none."""
        slot = self.file.aggressor
        if slot is None or "aggressor" not in self.profiles:
            return None
        least_vpk, most_vpk = self._range("aggressor", slot.wiring)
        beside = self.file.model_copy(update={"wiring": slot.wiring})
        drive = drive_of(device, beside, span_codes=span_codes, source_min_vpk=least_vpk, source_max_vpk=most_vpk)
        return OtherSource(channel=slot.channel, drive=drive)

    def slot(self, role: str) -> InstrumentSlot | None:
        """The slot of a role; None where the bench has none."""
        return self.file.slots.get(role)


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """A job, ready to be carried out or judged."""

    job: JobFile
    device: DeviceFile
    bench: BenchSetup
    limits: LimitSet
    law: GainLaw
    rungs: tuple[Rung, ...]
    """Of the ladder."""
    extras: tuple[Rung, ...]
    """Readings beside the ladder, taken behind it."""
    anchors: tuple[Rung, ...]
    """Of the ladder; read again and again."""
    files: tuple[ConfigFile, ...]
    short: LadderFile | None = None
    """The ladder file that the rungs follow; None where the job names none, or the unit is audited."""
    path: str = ""
    """Of the job, as it was named."""
    other_limits: bool = False
    """Whether the limits are not those that the job names."""
    audited: bool = False
    """Whether the job has a short ladder and this unit walks the whole one."""

    @property
    def every_rung(self) -> tuple[Rung, ...]:
        """The ladder, then the readings beside it."""
        return (*self.rungs, *self.extras)

    @property
    def input_ratio(self) -> float:
        """Volts at the device's input per volt that the source is set to."""
        return input_ratio(self.bench.file.wiring)

    @property
    def terminal_ratio(self) -> float:
        """Volts at the source's terminals, where a meter hangs, per volt that the source is set to."""
        return terminal_ratio(self.bench.file.wiring)

    @property
    def drive(self) -> Drive:
        """What the source may put out: the limits of device and bench hold with the load gone."""
        return self.bench.drive(self.device, self.law.span_codes)

    @property
    def wiring(self) -> BusWiring | None:
        """The control bus as the decoder wants it; None when no words are captured."""
        captures = self.job.capture_words and self.bench.file.adapter is not None
        return wiring_of(self.device.bus) if captures and self.device.bus is not None else None

    def planned(self) -> tuple[tuple[Setting, int], ...]:
        """Settings in the order of the ladder, each once, with the number of its rungs."""
        counts: dict[Setting, int] = {}
        for rung in self.rungs:
            counts[rung.setting] = counts.get(rung.setting, 0) + 1
        return tuple(counts.items())


def read_bench(files: FileSet, path: str, *, named_by: str = "the command line") -> BenchSetup | None:
    """A bench file and the profiles it names."""
    bench = files.read(BenchFile, "bench", path, named_by=named_by)
    if bench is None:
        return None
    profiles: dict[str, InstrumentFile] = {}
    for role, slot in bench.slots.items():
        profile_path = beside(path, slot.profile)
        profile = files.read(InstrumentFile, f"{role}-profile", profile_path, named_by=f"{path}: {role}.profile")
        if profile is not None:
            profiles[role] = profile
    return BenchSetup(path=path, file=bench, profiles=profiles)


def read_setup(
    job_path: str,
    *,
    bench_path: str = "",
    limits_path: str = "",
    files: FileSet | None = None,
    ladder: bool = True,
    cycle: int = 0,
    unit: str = "",
) -> Setup:
    """A job and all it names, for one cycle of a night and one unit: an audited one walks the whole ladder.

    ConfigError with the problems of every file at once.
    """
    files = files or FileSet()
    job = files.read(JobFile, "job", job_path)
    if job is None:
        files.check()
        raise ConfigError(())  # pragma: no cover - check has raised
    device_path = beside(job_path, job.device)
    device = files.read(DeviceFile, "device", device_path, named_by=f"{job_path}: device")
    own_limits = beside(job_path, job.limits)
    limits_path = limits_path or own_limits
    limits = files.read(LimitsFile, "limits", limits_path, named_by=f"{job_path}: limits")
    bench = read_bench(files, bench_path or beside(job_path, job.bench), named_by=f"{job_path}: bench")
    law = _collect(files, lambda: build_law(device, file=device_path)) if device else None
    ladder_path = beside(job_path, job.ladder.file) if job.ladder.file else ""
    short = read_ladder(files, ladder_path, device=device, named_by=f"{job_path}: ladder.file") if ladder_path else None
    audited = short is not None and is_audited(unit, every=job.ladder.audit_every)
    items = _limits(files, limits, limits_path, device=device, law=law) if limits else None
    if bench is not None and job.night is not None:
        files.problems.extend(night_problems(job.night, bench.file, file=job_path))
    files.check()
    if device is None or bench is None or items is None or law is None:  # pragma: no cover - check has raised
        raise ConfigError(())
    least_vpk, most_vpk = bench.source_range
    rungs = build_ladder(
        law, device, bench.file, job.ladder,
        source_min_vpk=least_vpk, source_max_vpk=most_vpk, file=job_path, cycle=cycle,
        named=None if audited else short, named_by=ladder_path,
    ) if ladder else ()  # fmt: skip
    files.problems.extend(averaging_problems(job, items, rungs, file=job_path))
    files.check()
    extras = extras_of(job, device, bench, law, rungs, file=job_path) if rungs else ()
    anchors = anchor_rungs(job.anchors, rungs, law.coarse_names, file=job_path) if ladder and job.anchors else ()
    return Setup(
        job=job, device=fitted_by(job, device), bench=bench, limits=items, law=law, rungs=rungs, extras=extras,
        anchors=anchors, files=tuple(files.stored.values()), short=None if audited else short, audited=audited,
        path=job_path, other_limits=posixpath.normpath(limits_path) != own_limits,
    )  # fmt: skip


def read_ladder(files: FileSet, path: str, *, device: DeviceFile | None, named_by: str) -> LadderFile | None:
    """A ladder file; of another device it is a problem."""
    short = files.read(LadderFile, "ladder", path, named_by=named_by)
    if short is not None and device is not None and short.device != device.name:
        allowed = f'"{device.name}", the device of the job'
        files.problems.append(Problem(file=path, key="device", got=repr(short.device), allowed=allowed))
    return short


def fitted_by(job: JobFile, device: DeviceFile) -> DeviceFile:
    """The device, its records fitted as the job says: hum is a matter of the place and not of the device."""
    if job.fit is None:
        return device
    return device.model_copy(update={"acquisition": device.acquisition.model_copy(update={"fit": job.fit})})


def extras_of(
    job: JobFile, device: DeviceFile, bench: BenchSetup, law: GainLaw, rungs: tuple[Rung, ...], *, file: str
) -> tuple[Rung, ...]:
    """The readings that a job takes beside its ladder."""
    return plan_extras(_ground(job, device, bench, law, rungs), job.extra, file=file)


def ground_of(setup: Setup) -> Ground:
    """What readings beside the ladder of a setup stand on."""
    return _ground(setup.job, setup.device, setup.bench, setup.law, setup.rungs)


def _ground(job: JobFile, device: DeviceFile, bench: BenchSetup, law: GainLaw, rungs: tuple[Rung, ...]) -> Ground:
    source = bench.file.uncertainty.source if bench.file.uncertainty else None
    return Ground(
        law=law,
        drive=bench.drive(device, law.span_codes),
        ladder=rungs,
        fill_target_ratio=job.ladder.fill_target,
        range_ends_vpk=tuple(source.range_ends_vpk) if source else (),
        other=bench.other(device, law.span_codes),
        steady_step_v=bench.steady_step_v if device.input.coupling == "dc" else None,
    )


def night_problems(night: Night, bench: BenchFile, *, file: str) -> list[Problem]:
    """Corners that the bench cannot make."""
    found: list[Problem] = []
    for index, corner in enumerate(night.corner):
        for key, role in (("temperature_c", "chamber"), ("supply_v", "supply")):
            if getattr(corner, key) is not None and getattr(bench, role) is None:
                got = f"{getattr(corner, key):g}"
                allowed = f"only where the bench has a [{role}]"
                found.append(Problem(file=file, key=f"night.corner[{index}].{key}", got=got, allowed=allowed))
    return found


def _limits(
    files: FileSet, limits: LimitsFile, path: str, *, device: DeviceFile | None, law: GainLaw | None
) -> LimitSet | None:
    known = parameter_names(law) if law else None
    channels = device.channels if device else None
    names = tuple(coarse.name for coarse in device.coarse) if device else None
    below = hardware_underneath(device.coarse) if device else None
    return _collect(
        files,
        lambda: build_limits(
            limits, file=path, parameters=known, channels=channels, coarse_names=names, underneath=below
        ),
    )


def setup_of_run(header: RunHeader, *, limits_path: str = "") -> Setup:
    """The setup of a recorded run, from its own record; with other limits when a file is given."""
    stored = {file.role: file for file in header.files if not (limits_path and file.role == "limits")}
    files = FileSet(stored=stored, from_record=True)
    cycle = 0 if header.night is None else header.night.cycle
    return read_setup(header.file("job").path, limits_path=limits_path, files=files, cycle=cycle, unit=header.unit)


def parameter_names(law: GainLaw) -> tuple[str, ...]:
    """Names of the parameters that a fit of one whole channel finds."""
    return design_matrix(law, [setting for setting in law.settings() if setting.channel == 1]).names


def _collect(files: FileSet, make: Callable[[], Built]) -> Built | None:
    try:
        return make()
    except ConfigError as error:
        files.problems.extend(error.problems)
        return None
