"""A bare wiring file: how a control bus is wired, without the rest of a device."""

from __future__ import annotations

from typing import Literal

from harness.config.bus_section import Bus
from harness.config.model import Name, Versioned


class WiringFile(Versioned):
    """The bus of a device that has no device file yet."""

    kind: Literal["wiring"]
    name: Name
    bus: Bus
