"""How the control bus is wired: which line is what, which edges count, how long the words are."""

from __future__ import annotations

from dataclasses import dataclass

from harness.errors import CaptureError


@dataclass(frozen=True, slots=True, kw_only=True)
class BusDevice:
    """A device that takes its word from the shared shift register under a latch.

    Devices that share a latch are a daisy chain: the first one listed is next to the sender and holds the newest bits.
    """

    latch: str
    """Name of its latch line."""
    bits: int
    """Word length, 1 to 64."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BusWiring:
    """The whole bus; CaptureError when it contradicts itself."""

    lines: tuple[str, ...]
    """Names of the captured lines, 1 to 8, each once; the order of a VCD's lines in the capture."""
    data: str
    clock: str
    clock_rising: bool
    """Whether data is taken on the rising clock edge."""
    latch_rising: bool
    """Whether words are taken on the rising latch edge; the level after that edge is the latch's active level."""
    minimum_pulse_ns: float
    """Shorter pulses on any line are glitches; 0 takes every pulse that lasts at all."""
    devices: tuple[BusDevice, ...]
    broadcast_allowed: bool = False
    """Whether several latches at one time belong to the plan."""

    def __post_init__(self) -> None:
        if not 1 <= len(self.lines) <= 8 or len(set(self.lines)) != len(self.lines):
            raise CaptureError(f"bus wiring: lines {self.lines!r}; allowed are 1 to 8 names, each once")
        roles = self.roles
        missing = [name for name in roles if name not in self.lines]
        if missing or len(set(roles)) != len(roles):
            raise CaptureError(
                f"bus wiring: data, clock and latches are {roles!r}; allowed are different names out of {self.lines!r}"
            )
        if not self.devices or any(not 1 <= device.bits <= 64 for device in self.devices):
            words = {device.latch: device.bits for device in self.devices}
            raise CaptureError(f"bus wiring: bits by latch {words!r}; allowed is one device or more of 1 to 64 bits")
        if not 0.0 <= self.minimum_pulse_ns < float("inf"):
            raise CaptureError(
                f"bus wiring: minimum_pulse_ns is {self.minimum_pulse_ns!r}; allowed is a finite number from 0 up"
            )

    @property
    def roles(self) -> tuple[str, ...]:
        """Data, clock and the latches: the lines that carry meaning."""
        return (self.data, self.clock, *self.latches)

    @property
    def latches(self) -> tuple[str, ...]:
        """The latch lines, each once, in order of the devices."""
        return tuple(dict.fromkeys(device.latch for device in self.devices))

    def chain(self, latch: str) -> tuple[int, ...]:
        """Word lengths of the devices under a latch, the one next to the sender first."""
        return tuple(device.bits for device in self.devices if device.latch == latch)
