"""A link that finds its instrument by the serial number when another one, or nobody, answers at the address."""

from __future__ import annotations

import glob
from collections.abc import Callable, Iterator

from harness.bench import Link
from harness.config import InstrumentSlot
from harness.errors import BenchError, OpenFailed, ResourceBusy

Opener = Callable[[str], Link]
QUESTION = "*IDN?"


class SeekingLink:
    """Looks at its address first, then at the slot's other ones; the first whose serial number is right is taken.

    Opening a port may reset what hangs on it, so only places that the bench file names are looked at, and serial ports
    whose adapter itself bears the serial number. When another instrument answers at the address and the right one
    nowhere, the link stays there: the driver's own check of the identity then refuses it.
    """

    def __init__(self, slot: InstrumentSlot, opener: Opener, usb_ports: Callable[[str], list[str]]) -> None:
        """Open the right place.

        Args:
            slot: addresses and serial number.
            opener: opens an address; the link releases its lock when closed.
            usb_ports: serial ports whose adapter bears a serial number.
        Raises:
            OpenFailed: nobody answers anywhere.
            ResourceBusy: another process holds the first address.
        """
        self._slot = slot
        self._opener = opener
        self._usb_ports = usb_ports
        self._inner = self._found(first=slot.address)

    @property
    def address(self) -> str:
        """Where it is open now."""
        return self._inner.address

    def write(self, message: bytes) -> None:
        """Send a whole message."""
        self._inner.write(message)

    def read_line(self) -> bytes:
        """Bytes up to the line feed."""
        return self._inner.read_line()

    def read_exactly(self, count: int) -> bytes:
        """Exactly `count` bytes."""
        return self._inner.read_exactly(count)

    def clear(self) -> None:
        """Throw away what is under way."""
        self._inner.clear()

    def reopen(self) -> None:
        """Open again where it was, else where the serial number answers."""
        try:
            self._inner.reopen()
            if self._is_right(self._inner):
                return
        except BenchError:
            pass
        address = self._inner.address
        self._inner.close()
        self._inner = self._found(first=address)

    def close(self) -> None:
        """Close; idempotent."""
        self._inner.close()

    def _found(self, *, first: str) -> Link:
        stranger: Link | None = None
        said: list[str] = []
        for address in self._places(first):
            try:
                link = self._opener(address)
            except ResourceBusy as error:
                if address == first:
                    raise
                said.append(str(error))
                continue
            except BenchError as error:
                said.append(str(error))
                continue
            if self._is_right(link):
                if stranger is not None:
                    stranger.close()
                return link
            if stranger is None:
                stranger = link
            else:
                link.close()
        if stranger is None:
            raise OpenFailed(
                f"nobody with serial number {self._slot.serial} answers; looked at: {'; '.join(said)}", address=first
            )
        # Its answer may still be under way: a new connection never sees it.
        stranger.reopen()
        return stranger

    def _places(self, first: str) -> Iterator[str]:
        seen: set[str] = set()
        wild = [place for pattern in self._slot.also_at for place in _expanded(pattern)]
        for place in (first, self._slot.address, *self._usb_ports(self._slot.serial), *wild):
            if place not in seen:
                seen.add(place)
                yield place

    def _is_right(self, link: Link) -> bool:
        """Whether the serial number answers; whatever it says is read to its end, so that the link stays sound."""
        try:
            link.write((QUESTION + self._slot.termination).encode())
            fields = link.read_line().decode("ascii", "replace").split(",")
        except BenchError:
            return False
        return len(fields) > 2 and fields[2].strip() == self._slot.serial


def _expanded(pattern: str) -> list[str]:
    """The ports that a pattern stands for; an address stands for itself."""
    return sorted(glob.glob(pattern)) if any(sign in pattern for sign in "*?[") and "::" not in pattern else [pattern]


def usb_ports(serial: str) -> list[str]:
    """Serial ports whose USB adapter bears a serial number; opens none."""
    from serial.tools import list_ports

    return sorted(str(port.device) for port in list_ports.comports() if serial and port.serial_number == serial)
