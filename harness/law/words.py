"""Control words both ways: controls to bits and bits to controls, by a layout that is data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.config.device_file import Bus
from harness.errors import UsageError
from harness.law.stages import Controls
from harness.law.stages.kind import number_of
from harness.values import ControlWord


@dataclass(frozen=True, slots=True, kw_only=True)
class WordLayout:
    """The fields of a word, first on the wire first.

    A word as a number always has the first bit on the wire as its highest bit, as a decoder without a layout reads it;
    the layout says which end of each *field* comes first.
    """

    fields: tuple[tuple[str, int], ...]
    """Control and bits."""
    least_significant_first: bool
    """Whether each field comes with its least significant bit first."""
    latches: Mapping[int, str]
    """Latch line by channel."""

    @property
    def bits(self) -> int:
        """Length of the word."""
        return sum(bits for _, bits in self.fields)

    def value_of(self, controls: Controls) -> int:
        """The word that holds the controls.

        Args:
            controls: at least a value for each field; others are ignored.
        Returns:
            the word, first bit on the wire highest.
        Raises:
            UsageError: a field's control is missing, no whole number, or does not fit into its bits.
        Source:
            the layout in the device file.
        """
        word = 0
        for name, bits in self.fields:
            value = number_of(controls, name)
            if not 0 <= value < 2**bits:
                raise UsageError(f"control {name}: got {value}; allowed is 0 to {2**bits - 1} in {bits} bits")
            word = word << bits | self._wired(value, bits)
        return word

    def controls_of(self, value: int) -> dict[str, int]:
        """The controls that a word holds.

        Args:
            value: the word, first bit on the wire highest.
        Returns:
            value by control, in order of the fields.
        Raises:
            UsageError: the word does not fit into the length of the layout.
        Source:
            the layout in the device file.
        """
        if not 0 <= value < 2**self.bits:
            raise UsageError(f"control word {value}: allowed is 0 to {2**self.bits - 1}, the word has {self.bits} bits")
        found: dict[str, int] = {}
        left = self.bits
        for name, bits in self.fields:
            left -= bits
            found[name] = self._wired(value >> left & (2**bits - 1), bits)
        return found

    def word(self, channel: int, controls: Controls) -> ControlWord:
        """The word of a channel's gain device, with its latch.

        Args:
            channel: 1-based.
            controls: at least a value for each field.
        Returns:
            latch, length and value.
        Raises:
            UsageError: the channel has no gain device on the bus, or as `value_of`.
        Source:
            the layout in the device file.
        """
        if channel not in self.latches:
            known = ", ".join(map(str, self.latches))
            raise UsageError(f"channel {channel} has no gain device on the bus; allowed is one of {known}")
        return ControlWord(self.latches[channel], self.bits, self.value_of(controls))

    def _wired(self, value: int, bits: int) -> int:
        """A field as it stands in the word, or back: turning round is its own inverse."""
        return int(f"{value:0{bits}b}"[::-1], 2) if self.least_significant_first else value


def layout_of(bus: Bus) -> WordLayout:
    """The layout of a device file's bus.

    Args:
        bus: shape already checked.
    Returns:
        the layout.
    Source:
        none: data only.
    """
    return WordLayout(
        fields=tuple((field.control, field.bits) for field in bus.layout),
        least_significant_first=bus.first_bit == "least-significant",
        latches={member.channel: member.latch for member in bus.on_bus if member.channel is not None},
    )
