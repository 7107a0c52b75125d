"""The table of known faults: how each shows, where to look, what tells it apart, what a run must hold to see it."""

from collections.abc import Mapping
from types import MappingProxyType

from harness.diagnosis.catalogue.analog import ANALOG
from harness.diagnosis.catalogue.coarse import COARSE
from harness.diagnosis.catalogue.control import CONTROL
from harness.diagnosis.catalogue.digital import DIGITAL
from harness.diagnosis.catalogue.entry import Known, Sight
from harness.diagnosis.catalogue.link import LINK
from harness.diagnosis.catalogue.station import STATION

KNOWN: Mapping[str, Known] = MappingProxyType(
    {known.name: known for known in (*CONTROL, *COARSE, *ANALOG, *DIGITAL, *STATION, *LINK)}
)
"""By name, in order of their ids."""

__all__ = ["KNOWN", "Known", "Sight"]
