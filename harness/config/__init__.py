"""TOML text to typed descriptions, shape checked, hashed; all problems of all files at once."""

from harness.config.bench_file import BenchFile, InstrumentSlot, SimulationSection
from harness.config.bus_section import Bus, GainDeviceOnBus, spans
from harness.config.device_file import Acquisition, Coarse, DeviceFile, Firmware, Reference, Response
from harness.config.export_section import Export
from harness.config.extra_section import Extra
from harness.config.fit_section import FitTerms
from harness.config.instrument_file import InstrumentFile
from harness.config.job_file import JobFile
from harness.config.ladder_file import CaughtFault, LadderCoverage, LadderFile, LadderRange
from harness.config.limits_file import LimitItem, LimitsFile
from harness.config.line_file import LineFile, Routing
from harness.config.night_section import Anchors, Corner, Dwell, Night, Stops
from harness.config.parse import parse, validate
from harness.config.people_file import PeopleFile, Person, Right, Role
from harness.config.production_section import Production
from harness.config.scan_format import Misread, Read, ScanFormat
from harness.config.settings_file import LoadedWords, NamedRange, Probed, SettingsFile
from harness.config.stage_section import Corrections, Stage
from harness.config.uncertainty_section import BenchUncertainty, DeviceUncertainty, LevelAccuracy, Stated
from harness.config.wiring_file import WiringFile

__all__ = [
    "Acquisition",
    "Anchors",
    "BenchFile",
    "BenchUncertainty",
    "Bus",
    "CaughtFault",
    "Coarse",
    "Corner",
    "Corrections",
    "DeviceFile",
    "DeviceUncertainty",
    "Dwell",
    "Export",
    "Extra",
    "Firmware",
    "FitTerms",
    "GainDeviceOnBus",
    "InstrumentFile",
    "InstrumentSlot",
    "JobFile",
    "LadderCoverage",
    "LadderFile",
    "LadderRange",
    "LevelAccuracy",
    "LimitItem",
    "LimitsFile",
    "LineFile",
    "LoadedWords",
    "Misread",
    "NamedRange",
    "Night",
    "PeopleFile",
    "Person",
    "Probed",
    "Production",
    "Read",
    "Reference",
    "Response",
    "Right",
    "Role",
    "Routing",
    "ScanFormat",
    "SettingsFile",
    "SimulationSection",
    "Stage",
    "Stated",
    "Stops",
    "WiringFile",
    "parse",
    "spans",
    "validate",
]
