"""What a fault can change: one hook for each place where the bench can be wrong. Each fault overrides a few."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from harness.bench import Clock, Recorder
from harness.simulated.converter import Integers, Samples
from harness.simulated.course import Course
from harness.simulated.delivery import Before, Delivery
from harness.simulated.fault_entry import FaultEntry
from harness.simulated.firmware import Plan, Request, Shown
from harness.simulated.injection import Injection
from harness.simulated.parameters import TimingTruth
from harness.simulated.parts import ChannelParts
from harness.simulated.scene import Scene
from harness.simulated.streams import stream
from harness.simulated.unit import UnitTruth

__all__ = ["Fault", "FaultEntry"]


class Fault:
    """A fault of one channel, of all channels, or of the station; by itself it changes nothing.

    It is there from its first record on, all the time or, with a chance, at some of the events: each word for a fault
    of the control path, each record for one of the signal path, each answer for one of a link.
    """

    entry: ClassVar[FaultEntry]

    def __init__(
        self, *, channel: int | None = None, size: float | None = None, injection: Injection | None = None
    ) -> None:
        self.injection = injection or Injection(channel=channel, sizes=() if size is None else (size,))
        self.channel = self.injection.channel
        sizes = self.injection.sizes
        self.size = sizes[0] if sizes else self.entry.default_size
        """The first or only number of the size."""
        self.second = sizes[1] if len(sizes) > 1 else self.entry.default_second
        self.chance = self.injection.chance
        self.start = self.injection.start or self.entry.default_start
        self.place = self.injection.place or self.entry.default_place
        self.course = Course()
        self.unit: UnitTruth | None = None
        self.clock: Clock | None = None
        self._held: dict[int, bool] = {}
        self._generator = stream(0, self.entry.name)

    def join(self, course: Course, unit: UnitTruth, *, seed: int, number: int, clock: Clock) -> None:
        """Become part of a bench; `number` tells faults of one name apart."""
        self.course = course
        self.unit = unit
        self.clock = clock
        self._generator = stream(seed, f"fault {number}/{self.entry.name}")

    @classmethod
    def highest(cls, unit: UnitTruth) -> float:
        """The largest size that a unit can have."""
        del unit
        return cls.entry.high

    def touches(self, channel: int) -> bool:
        """Whether the fault sits in this channel."""
        return self.channel is None or self.channel == channel

    @property
    def begun(self) -> bool:
        """Whether the record under way, or the next one, is at or behind the first faulty one."""
        return self.course.records >= self.start - 1

    def strikes(self) -> bool:
        """Whether it shows at one event; asked once for each of them."""
        return self.begun and (self.chance >= 1.0 or float(self._generator.random()) < self.chance)

    def begin_record(self, channel: int) -> None:
        """A record of a channel begins: draw whether it shows in that."""
        if self.chance < 1.0:
            self._held[channel] = float(self._generator.random()) < self.chance

    def tick(self) -> None:
        """A record of whatever channel begins."""

    def holds(self, channel: int) -> bool:
        """Whether it shows in the signal path of a channel now."""
        return self.begun and (self.chance >= 1.0 or self._held.get(channel, False))

    @property
    def dice(self) -> np.random.Generator:
        """Its own chance."""
        return self._generator

    # ---- control path

    def plan(self, plan: Plan, request: Request) -> Plan:
        """What the firmware does for a setting."""
        del request
        return plan

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """A frame on its way from the controller to the gain devices."""
        del before
        return delivery

    # ---- signal path; asked of faults that hold

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """The channel's parts, as they are soldered in."""
        return parts

    def relays(self, picked: frozenset[str]) -> frozenset[str]:
        """The relays that really pick of those that are driven."""
        return picked

    def resets(self) -> bool:
        """Whether the gain register falls back to its power-on word now; asked before each record."""
        return False

    def timing(self, timing: TimingTruth) -> TimingTruth:
        """How the channel settles."""
        return timing

    def relay_ratio(self, channel: int, picked: frozenset[str], toggles: int) -> float:
        """Factor on the gain of the relays' part of a channel, after so many toggles."""
        del channel, picked, toggles
        return 1.0

    def gain_ratio(self, scene: Scene) -> float:
        """Factor on the gain, at the frequency and the time of a record."""
        del scene
        return 1.0

    def bend(self, volts: Samples, full_v: float) -> Samples:
        """The wave at the end of the amplifiers, `full_v` is the converter's full scale."""
        del full_v
        return volts

    def converter_ratio(self) -> float:
        """Factor between the end of the amplifiers and the codes."""
        return 1.0

    def added_code(self, times_s: Samples, scene: Scene, full_code: float) -> Samples | float:
        """What comes on top of the wave at the converter, codes."""
        del times_s, scene, full_code
        return 0.0

    def converted(self, codes: Integers) -> Integers:
        """The codes behind the converter."""
        return codes

    def coupling_ratio(self) -> float:
        """Share of another channel's output that gets into this one beside what a good unit lets through."""
        return 0.0

    # ---- what the device tells

    def position(self, place: int, *, coarse: bool) -> int:
        """The place in its table that a command for coarse or fine really selects."""
        del coarse
        return place

    def shown(self, shown: Shown) -> float:
        """The displayed scale, V a code."""
        return shown.scale_v_per_code

    def mode(self, mode: str) -> str:
        """The acquisition mode that is read back."""
        return mode

    def averages(self) -> int:
        """Records that are averaged into one."""
        return 1

    def renewed(self) -> bool:
        """Whether an acquisition really replaces the record before."""
        return True

    def recorded_channel(self, channel: int) -> int:
        """The channel whose wave is recorded when this one is asked for."""
        return channel

    # ---- station

    def told_ohm(self, asked_ohm: float) -> float:
        """The load the source takes over from its front panel or command, Ω."""
        return asked_ohm

    def load_ohm(self, inputs_ohm: float) -> float:
        """The load that really hangs on the cable, Ω."""
        return inputs_ohm

    def cable_ratio(self) -> float:
        """Factor of what stands between source and device."""
        return 1.0

    def meter_ratio(self) -> float:
        """Factor on what the reference meter reads."""
        return 1.0

    def switched_on(self) -> None:
        """The source's output has been switched on."""

    # ---- process

    def reaches_plant(self) -> bool:
        """Whether what is recorded can be forwarded now."""
        return True

    def recorder(self, recorder: Recorder) -> Recorder:
        """Where readings go."""
        return recorder
