"""Control words both ways: controls to bits and bits to controls, by layouts that are data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from harness.config import Bus, spans
from harness.errors import UsageError
from harness.law.stages import Control, Controls
from harness.values import ControlWord


@dataclass(frozen=True, slots=True, kw_only=True)
class WordField:
    """Some bits of a word: a control, the coil of a relay, or bits that mean nothing."""

    start: int
    """Place of the first bit on the wire, from 0."""
    bits: int
    least_significant_first: bool = False
    control: Control | None = None
    relay: str = ""
    fill: int = 0
    """Where it is neither control nor relay."""

    def number(self, controls: Controls, relays: frozenset[str]) -> int:
        """What stands in the field. UsageError when the control is missing or does not fit."""
        if self.relay:
            return int(self.relay in relays)
        if self.control is None:
            return self.fill
        value = self.control.word_number(controls.get(self.control.name))
        if not 0 <= value < 2**self.bits:
            name = self.control.name
            raise UsageError(f"control {name}: got {value}; allowed is 0 to {2**self.bits - 1} in {self.bits} bits")
        return value

    def wired(self, value: int) -> int:
        """A number as it stands in the word, or back: turning round is its own inverse."""
        return int(f"{value:0{self.bits}b}"[::-1], 2) if self.least_significant_first else value


@dataclass(frozen=True, kw_only=True)
class WordLayout:
    """The fields of a word, anywhere in it.

    A word as a number always has the first bit on the wire as its highest bit, as a decoder without a layout reads it;
    the layout says which end of each *field* comes first.
    """

    fields: tuple[WordField, ...]

    @cached_property
    def bits(self) -> int:
        """Length of the word."""
        return max(field.start + field.bits for field in self.fields)

    @cached_property
    def controls(self) -> tuple[str, ...]:
        """The controls that it holds."""
        return tuple(field.control.name for field in self.fields if field.control is not None)

    @cached_property
    def relays(self) -> tuple[str, ...]:
        """The relays whose coils it holds."""
        return tuple(field.relay for field in self.fields if field.relay)

    def value_of(self, controls: Controls, relays: frozenset[str] = frozenset()) -> int:
        """The word that holds the controls.

        Args:
            controls: at least a value for each field; others are ignored.
            relays: those that carry coil current.
        Returns:
            the word, first bit on the wire highest.
        Raises:
            UsageError: a field's control is missing, has no such value, or does not fit into its bits.
        """
        word = 0
        for field in self.fields:
            word |= field.wired(field.number(controls, relays)) << self._shift(field)
        return word

    def controls_of(self, value: int) -> dict[str, str | int]:
        """The controls that a word holds.

        Args:
            value: the word, first bit on the wire highest.
        Returns:
            value by control, in order of the fields; a code that no named position has stays a number.
        Raises:
            UsageError: the word does not fit into the length of the layout.
        """
        return {
            field.control.name: field.control.from_word(self._number(field, value))
            for field in self.fields
            if field.control is not None
        }

    def relays_of(self, value: int) -> frozenset[str]:
        """The relays whose coils a word holds energised; UsageError as `controls_of`."""
        return frozenset(field.relay for field in self.fields if field.relay and self._number(field, value))

    def _number(self, field: WordField, value: int) -> int:
        if not 0 <= value < 2**self.bits:
            raise UsageError(f"control word {value}: allowed is 0 to {2**self.bits - 1}, the word has {self.bits} bits")
        return field.wired(value >> self._shift(field) & (2**field.bits - 1))

    def _shift(self, field: WordField) -> int:
        return self.bits - field.start - field.bits


@dataclass(frozen=True, slots=True, kw_only=True)
class GainDevice:
    """A device on the bus that sets gain."""

    latch: str
    channel: int | None
    """None for one latch that serves every channel."""
    layout: WordLayout

    def serves(self, channel: int) -> bool:
        """Whether it sets the gain of a channel."""
        return self.channel in (None, channel)


@dataclass(frozen=True, kw_only=True)
class Words:
    """All gain devices of a bus."""

    devices: tuple[GainDevice, ...]
    code: str
    """The control that holds the code of a fine position: the device that has it comes first."""
    words_per_change: int | None
    """Words latched when one setting changes, bystanders included; None where it is not known."""
    idle_edges_per_change: int | None
    """Most data edges of others when one setting changes; None where it is not known."""

    @cached_property
    def drives_relays(self) -> bool:
        """Whether some word holds the coils of relays."""
        return any(device.layout.relays for device in self.devices)

    @cached_property
    def _of_channel(self) -> dict[int, tuple[GainDevice, ...]]:
        return {}

    def of_channel(self, channel: int) -> tuple[GainDevice, ...]:
        """Which devices set the gain of a channel.

        Args:
            channel: 1-based.
        Returns:
            the one with the code first, the others in order of the device file.
        Raises:
            UsageError: the channel has no gain device on the bus.
        """
        if channel in self._of_channel:
            return self._of_channel[channel]
        mine = [device for device in self.devices if device.serves(channel)]
        if not mine:
            known = sorted(device.channel for device in self.devices if device.channel is not None)
            allowed = ", ".join(map(str, known))
            raise UsageError(f"channel {channel} has no gain device on the bus; allowed is one of {allowed}")
        found = tuple(sorted(mine, key=lambda device: self.code not in device.layout.controls))
        return self._of_channel.setdefault(channel, found)

    def words(self, channel: int, controls: Controls, relays: frozenset[str]) -> tuple[ControlWord, ...]:
        """The words of a channel, with their latches, the one with the code first; UsageError as its parts."""
        return tuple(
            ControlWord(device.latch, device.layout.bits, device.layout.value_of(controls, relays))
            for device in self.of_channel(channel)
        )


def words_of(bus: Bus, controls: Mapping[str, Control], *, code: str) -> Words:
    """The layouts of a device file's bus.

    Args:
        bus: checked.
        controls: of the path, by name.
        code: the control that holds the code of a fine position.
    Returns:
        every gain device with its layout.
    Source:
        none: data only.
    """
    devices = tuple(
        GainDevice(
            latch=member.latch,
            channel=None if member.channel == "all" else member.channel,
            layout=WordLayout(
                fields=tuple(
                    WordField(
                        start=start,
                        bits=field.bits,
                        least_significant_first=(field.first_bit or bus.first_bit) == "least-significant",
                        control=None if field.control is None else controls[field.control],
                        relay=field.relay or "",
                        fill=field.fill or 0,
                    )
                    for field, (start, _) in zip(layout, spans(layout), strict=True)
                )
            ),
        )
        for member in bus.on_bus
        if member.channel is not None
        for layout in (member.layout or bus.layout,)
    )
    return Words(
        devices=devices,
        code=code,
        words_per_change=bus.words_per_change,
        idle_edges_per_change=bus.idle_edges_per_change,
    )
