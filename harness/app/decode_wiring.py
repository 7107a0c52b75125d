"""A device or wiring file to what the bus decoder needs."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from harness.app.files import FileSet
from harness.app.wiring import wiring_of
from harness.bus import BusWiring, Thresholds, TimingLimits, family_thresholds
from harness.config.bus_section import Bus
from harness.config.device_file import DeviceFile
from harness.config.wiring_file import WiringFile
from harness.errors import CaptureError, ConfigError, Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class DecodeSetup:
    """Lines, limits and thresholds of a bus."""

    name: str
    wiring: BusWiring
    limits: TimingLimits
    thresholds: Thresholds | None
    """None where the file names no logic family."""


def read_wiring(path: str) -> DecodeSetup:
    """The bus of a device file or of a bare wiring file; ConfigError with all problems of the file."""
    files = FileSet()
    kind = _kind(path)
    if kind == "wiring":
        wiring = files.read(WiringFile, "wiring", path)
        name, bus = (wiring.name, wiring.bus) if wiring else ("", None)
    else:
        device = files.read(DeviceFile, "device", path)
        name, bus = (device.name, device.bus) if device else ("", None)
    files.check()
    if bus is None:
        raise ConfigError((Problem(file=path, key="bus", got="nothing", allowed="a [bus] table"),))
    try:
        return DecodeSetup(name=name, wiring=wiring_of(bus), limits=limits_of(bus), thresholds=_thresholds(bus))
    except CaptureError as error:
        problem = Problem(file=path, key="bus", got=str(error), allowed="a bus that fits together")
        raise ConfigError((problem,)) from error


def limits_of(bus: Bus) -> TimingLimits:
    """The limits on distances of the [bus] table."""
    return TimingLimits(**bus.timing.model_dump())


def _thresholds(bus: Bus) -> Thresholds | None:
    return None if bus.levels is None else family_thresholds(bus.levels.family, bus.levels.supply_v)


def _kind(path: str) -> str:
    """What the file says it is; whatever is wrong with it is said when it is read."""
    try:
        return str(tomllib.loads(Path(path).read_text(encoding="utf-8")).get("kind", ""))
    except (OSError, ValueError):
        return ""
