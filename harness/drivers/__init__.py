"""The bench contracts on real links; the only room that imports pyvisa or serial, and only when a link is opened."""

from harness.drivers.adapter import AdapterDriver
from harness.drivers.build import open_link
from harness.drivers.clock import RealClock
from harness.drivers.constant import HeldConstant
from harness.drivers.device import DeviceDriver
from harness.drivers.loaded_device import LoadedDeviceDriver
from harness.drivers.locks import ResourceLock, resource_is_held
from harness.drivers.meter import MeterDriver
from harness.drivers.source import SourceDriver
from harness.drivers.surroundings import ChamberDriver, ProbeDriver, SupplyDriver
from harness.drivers.survey import SurveyDriver
from harness.drivers.watchdog import Watchdog

__all__ = [
    "AdapterDriver",
    "ChamberDriver",
    "DeviceDriver",
    "HeldConstant",
    "LoadedDeviceDriver",
    "MeterDriver",
    "ProbeDriver",
    "RealClock",
    "ResourceLock",
    "SourceDriver",
    "SupplyDriver",
    "SurveyDriver",
    "Watchdog",
    "open_link",
    "resource_is_held",
]
