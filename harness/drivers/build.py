"""From a slot of the bench file to an open link."""

from __future__ import annotations

from harness.bench import Link
from harness.config import InstrumentSlot
from harness.drivers.locks import ResourceLock


def open_link(slot: InstrumentSlot, *, role: str) -> Link:
    """Take the resource's lock and open it: VISA for source and device, a serial port or URL for the adapter.

    Raises:
        OpenFailed: nobody listens, or the port cannot be opened.
        ResourceBusy: another process holds it; the message names the process where it is one of ours.
    """
    # The libraries are imported here, not above: they cost 0.2 s, which a command without a bench need not pay.
    lock = ResourceLock(slot.address)
    try:
        if role == "adapter":
            from harness.drivers.serial_link import SerialLink

            return SerialLink(slot.address, baud=slot.baud, timeout_s=slot.timeout_s, lock=lock)
        from harness.drivers.visa_link import VisaLink

        return VisaLink(slot.address, timeout_s=slot.timeout_s, lock=lock)
    except BaseException:
        lock.release()
        raise
