"""Faults of the coarse gain: relays, attenuators, pre-gain."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from harness.simulated.course import Course
from harness.simulated.delivery import Before
from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.word_fault import PIN, PLACES, WordFault
from harness.simulated.parameters import TimingTruth
from harness.simulated.parts import ChannelParts
from harness.simulated.scene import Scene
from harness.simulated.streams import stream
from harness.simulated.unit import UnitTruth

_RELAY = "relay: 1 for K1, 2 for K2"
UPPER_HZ = 100.0e3
"""Where the effect of a wrong compensation is stated."""


def relay_name(number: float | None) -> str:
    """K1, K2 ... by number."""
    return f"K{round(number or 1)}"


class RelayNotPicking(Fault):
    """A relay of the input does not pick."""

    entry = FaultEntry(
        id="F21",
        name="relay-not-picking",
        kind="product",
        does="relay K1 or K2 of the input (attenuator 1:10 or 1:100, amplifier x10 or x100) does not pick",
        shows="gain off by a factor of 10 or 100 on every range that needs the relay, others right",
        size=_RELAY,
        default_size=1,
        low=1,
        high=2,
        whole=True,
    )

    def relays(self, picked: frozenset[str]) -> frozenset[str]:
        """All but the dead one."""
        return picked - {relay_name(self.size)}


class RelayStuckOn(Fault):
    """A contact is welded."""

    entry = FaultEntry(
        id="F22",
        name="relay-stuck-on",
        kind="product",
        does="relay K1 or K2 of the input stays picked",
        shows="gain off by a factor of 10 or 100 on every range that wants the relay off",
        size=_RELAY,
        default_size=1,
        low=1,
        high=2,
        whole=True,
    )

    def relays(self, picked: frozenset[str]) -> frozenset[str]:
        """With the welded one."""
        return picked | {relay_name(self.size)}


class RelayContactFilm(Fault):
    """Film on a contact: another resistance after each toggle."""

    entry = FaultEntry(
        id="F23",
        name="relay-contact-film",
        kind="product",
        does="the contacts of the input relays have another resistance after each toggle",
        shows="gain scatters between repeats with a toggle and not between repeats without",
        size="standard deviation between toggles, percent",
        default_size=0.3,
        high=50.0,
    )

    _seed = 0

    def join(self, course: Course, unit: UnitTruth, *, seed: int, number: int, **rest: object) -> None:
        """Remember the seed: each toggle has its own stream."""
        super().join(course, unit, seed=seed, number=number, **rest)  # type: ignore[arg-type]
        self._seed = seed

    def relay_ratio(self, channel: int, picked: frozenset[str], toggles: int) -> float:
        """A film only ever adds resistance, but round its average it goes both ways."""
        del picked
        drawn = stream(self._seed, f"channel-{channel}/contact film {toggles}").normal()
        return 1.0 + (self.size or 0.0) / 100.0 * float(drawn)


class RelayDriversSwapped(Fault):
    """Two relay drivers are exchanged."""

    entry = FaultEntry(
        id="F24",
        name="relay-drivers-swapped",
        kind="product",
        does="the drivers of relays K1 and K2 are exchanged",
        shows="ranges change places: gain off by a factor of 10 up on some and down on others",
    )

    def relays(self, picked: frozenset[str]) -> frozenset[str]:
        """Each for the other."""
        exchanged = {"K1": "K2", "K2": "K1"}
        return frozenset(exchanged.get(relay, relay) for relay in picked)


class RelaySettlesLate(Fault):
    """A relay, or what follows it, settles slowly."""

    entry = FaultEntry(
        id="F25",
        name="relay-settles-late",
        kind="product",
        does="after a relay has moved the gain settles with a long time constant",
        shows="the first reading after a change of range is off, the second one right",
        size="time constant over the time in which the unit says that it has settled",
        default_size=0.2,
        high=10.0,
    )

    def timing(self, timing: TimingTruth) -> TimingTruth:
        """With the long time constant."""
        slow_s = max((self.size or 0.0) * timing.relay_complete_s, timing.relay_tau_s)
        return timing.model_copy(update={"relay_tau_s": slow_s})


class AttenuatorResistorWrong(Fault):
    """A wrong resistor in the part that a relay switches in."""

    entry = FaultEntry(
        id="F26",
        name="attenuator-resistor-wrong",
        kind="product",
        does="the ratio of what one relay switches in (attenuator, amplifier) is wrong",
        shows="gain off by the size on every range that needs the relay, at all codes alike",
        size="error of the ratio, percent",
        default_size=2.0,
        low=-90.0,
        high=900.0,
        second="relay number",
        default_second=1,
        second_low=1,
        second_high=2,
    )

    def relay_ratio(self, channel: int, picked: frozenset[str], toggles: int) -> float:
        """Where the relay has picked."""
        del channel, toggles
        return 1.0 + (self.size or 0.0) / 100.0 if relay_name(self.second) in picked else 1.0


class AttenuatorCompensationWrong(Fault):
    """The compensation capacitor of an attenuator is wrong."""

    entry = FaultEntry(
        id="F27",
        name="attenuator-compensation-wrong",
        kind="product",
        does="the capacitor across what one relay switches in is wrong",
        shows="gain right at low frequency, off at high frequency, on the ranges that need the relay",
        size="error at 100 kHz, percent",
        default_size=5.0,
        low=-50.0,
        high=400.0,
        second="relay number",
        default_second=1,
        second_low=1,
        second_high=2,
    )

    def gain_ratio(self, scene: Scene) -> float:
        """A shelf, half of it at 100 kHz."""
        if relay_name(self.second) not in scene.picked:
            return 1.0
        relative = (scene.frequency_hz / UPPER_HZ) ** 2
        return 1.0 + (self.size or 0.0) / 100.0 * 2.0 * relative / (1.0 + relative)


class PregainBitStuck(WordFault):
    """The bit that switches the pre-gain is stuck."""

    entry = FaultEntry(
        id="F28",
        name="pregain-bit-stuck",
        kind="product",
        does="the pre-gain (of an ultrasonic receiver: the second amplifier) is always out, or always in",
        shows="gain off by the pre-gain ratio on every setting that wants it the other way",
        size="level: 0 out, 1 in",
        default_size=0,
        high=1,
        whole=True,
        places=PLACES,
        default_place=PIN,
    )

    @classmethod
    def highest(cls, unit: UnitTruth) -> float:
        """In."""
        del unit
        return 1

    def changed(self, word: int, before: Before) -> int:
        """Always the same bit."""
        del before
        bit = 1 << (self.unit.pregain_bit if self.unit else 0)
        return word | bit if self.size else word & ~bit


class PregainRatioWrong(Fault):
    """A resistor of the pre-gain stage, or of the second amplifier, has a wrong value."""

    entry = FaultEntry(
        id="F29",
        name="pregain-ratio-wrong",
        kind="product",
        does="the pre-gain stage (of an ultrasonic receiver: the second amplifier) has another ratio than designed",
        shows="gain off by the size on every setting that uses that stage, others right",
        size="error of the ratio, percent",
        default_size=5.0,
        low=-90.0,
        high=900.0,
    )

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """With the wrong resistor."""
        return replace(parts, pregain_ratio=parts.pregain_ratio * (1.0 + (self.size or 0.0) / 100.0))


FAULTS: Final[tuple[type[Fault], ...]] = (
    RelayNotPicking,
    RelayStuckOn,
    RelayContactFilm,
    RelayDriversSwapped,
    RelaySettlesLate,
    AttenuatorResistorWrong,
    AttenuatorCompensationWrong,
    PregainBitStuck,
    PregainRatioWrong,
)
