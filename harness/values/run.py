"""The header of a run: identities, hashes, seed, operator."""

from __future__ import annotations

from dataclasses import dataclass

BOOK = "book"
"""The mode of a run that is none: the book of a station, with lines of a journal and no readings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """What an instrument says of itself (*IDN?)."""

    manufacturer: str
    model: str
    serial: str
    firmware: str

    def __str__(self) -> str:
        return f"{self.manufacturer} {self.model}, serial {self.serial}, firmware {self.firmware}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """The calibration certificate of one instrument of a bench."""

    role: str
    """source, meter and so on."""
    number: str
    """Empty where the bench file states no certificate of an instrument that gains rest on."""
    laboratory: str
    calibrated: str
    """ISO 8601 date; empty without a certificate."""
    valid_until: str
    """ISO 8601 date, the last day; empty without a certificate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfigFile:
    """One configuration file as it was when the run began, whole, so that it can be judged again later."""

    role: str
    """job, device, bench, limits, source-profile, device-profile or adapter-profile."""
    path: str
    """As named by the user or by another file; never an absolute path of the machine."""
    version: int
    sha256: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NightPlace:
    """Which part of a night a run is."""

    night_id: str
    """The same for all runs of one night."""
    visit: int
    """0-based: which visit of a corner, over all units."""
    corner: str
    """Name of the corner."""
    cycle: int
    """0-based, within the visit."""
    temperature_c: float | None
    """Asked of the chamber; None: as it came."""
    supply_v: float | None
    """Asked of the supply; None: as it came."""
    planned: int
    """Runs that the whole night has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunHeader:
    """Written before the first reading."""

    run_id: str
    """Sortable: UTC time and a random tail."""
    unit: str
    """Serial number of the unit under test."""
    operator: str
    started_utc: str
    mode: str
    """simulated or real; `book` where it is the book of a station."""
    seed: int | None
    """Root seed of a simulated bench."""
    faults: tuple[str, ...]
    """Faults injected into a simulated bench, as given on the command line."""
    planned: int
    """Readings planned (rungs of the ladder)."""
    identities: tuple[tuple[str, Identity], ...]
    """Role (source, device, adapter) and identity."""
    files: tuple[ConfigFile, ...]
    software: str
    """gainladder's version."""
    night: NightPlace | None = None
    """None: a run by itself."""

    def file(self, role: str) -> ConfigFile:
        """The configuration file of a role; KeyError where there is none."""
        for file in self.files:
            if file.role == role:
                return file
        raise KeyError(role)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunInfo:
    """A line of the list of runs."""

    header: RunHeader
    finished_utc: str
    """Empty while running, or after a death."""
    end: str
    """finished, interrupted, stopped or empty."""
    readings: int
    """Attempts in the store."""
