"""The process's resource managers: one for each backend, never closed by a driver.

All managers of a backend are one object inside the library, so closing one would close every instrument. The library
closes it when the process ends. Resources are never listed: listing broadcasts on the network.
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pyvisa import ResourceManager


def backend_of(address: str) -> str:
    """Sockets and HiSLIP go through the pure Python backend, whose traps are known; the rest as pyvisa chooses."""
    upper = address.upper()
    return "@py" if upper.endswith("::SOCKET") or "::HISLIP" in upper else ""


@functools.cache
def resource_manager(backend: str) -> ResourceManager:
    """The one manager of a backend."""
    import pyvisa

    return pyvisa.ResourceManager(backend)
