"""From a slot of the bench file to an open link."""

from __future__ import annotations

from harness.bench import Link
from harness.config import InstrumentSlot
from harness.drivers.locks import ResourceLock


def open_link(slot: InstrumentSlot, *, role: str) -> Link:
    """Take the resource's lock and open it: VISA for most roles, a serial port or URL for the adapter.

    Where the slot names other places (`also_at`), or the adapter hangs on a port of its own, it is found by its serial
    number.

    Raises:
        OpenFailed: nobody listens, or the port cannot be opened.
        ResourceBusy: another process holds it; the message names the process where it is one of ours.
    """

    def opener(address: str) -> Link:
        return _opened(slot.model_copy(update={"address": address}), role=role)

    on_port = role == "adapter" and slot.serial and slot.address.startswith("/dev/")
    if not (slot.also_at or on_port):
        return opener(slot.address)
    from harness.drivers.seeking import SeekingLink, usb_ports

    return SeekingLink(slot, opener, usb_ports if on_port else lambda serial: [])


def _opened(slot: InstrumentSlot, *, role: str) -> Link:
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
