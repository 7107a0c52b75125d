"""TOML text to typed descriptions, shape checked, hashed; all problems of all files at once."""

from harness.config.bench_file import BenchFile, InstrumentSlot, SimulationSection
from harness.config.device_file import Coarse, DeviceFile, Stage
from harness.config.instrument_file import InstrumentFile
from harness.config.job_file import JobFile
from harness.config.limits_file import LimitItem, LimitsFile
from harness.config.parse import parse, validate

__all__ = [
    "BenchFile",
    "Coarse",
    "DeviceFile",
    "InstrumentFile",
    "InstrumentSlot",
    "JobFile",
    "LimitItem",
    "LimitsFile",
    "SimulationSection",
    "Stage",
    "parse",
    "validate",
]
