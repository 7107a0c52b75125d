"""The gain law of a device: what every setting should be."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.errors import UsageError
from harness.law.corrections import Conditions
from harness.law.path import SignalPath
from harness.law.spread import spread
from harness.law.stages import Arrays, Controls, Floats
from harness.law.words import GainDevice, Words
from harness.values import ControlWord, Prediction, Setting, State

NO_WORD = ControlWord("", 0, 0)
"""Stands where a device has no control bus."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One coarse and fine position, alike in all channels."""

    controls: tuple[tuple[str, str | int], ...]
    """In order of the path."""
    arithmetic_ratio: float
    full_scale_vpp: float
    gain_codes_per_v: float
    """Arithmetic included."""
    name: str
    """Range and fine position for people, such as `50mV 70 %`."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PredictedMany:
    """What many settings should be."""

    gains_codes_per_v: Floats
    """Arithmetic included, shape (n,)."""
    common_percent: float
    """Half width of 100 · ln G by what moves all settings alike."""
    independent_percent: Floats
    """Half width of 100 · ln G by the rest, shape (n,)."""

    @property
    def total_percent(self) -> Floats:
        """Both together, shape (n,)."""
        return np.hypot(self.common_percent, self.independent_percent)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GainLaw:
    """What `build` makes of a device file; every setting's place is already worked out."""

    path: SignalPath
    words: Words | None
    """None for a device without a control bus."""
    grid: Arrays
    """Controls of every coarse and fine position, in order, shape (coarse · fine,)."""
    arithmetic_ratio: Floats
    """Of the same."""
    places: tuple[tuple[Place, ...], ...]
    """By coarse, then fine index."""
    channels: int
    coarse_names: tuple[str, ...]
    fine_names: tuple[str, ...]
    """Such as `70 %`."""
    span_codes: int
    """Codes from rail to rail of the converter, 2**bits."""
    code_control: str
    """The control that holds the code of a fine position."""

    def settings(self) -> tuple[Setting, ...]:
        """Which settings the device has.

        Returns:
            all of them, in order of channel, coarse, fine.
        Source:
            the device file.
        """
        return tuple(
            Setting(channel, coarse, fine)
            for channel in range(1, self.channels + 1)
            for coarse in range(len(self.coarse_names))
            for fine in range(len(self.fine_names))
        )

    def predict(self, setting: Setting) -> Prediction:
        """What one setting should be.

        Args:
            setting: channel 1-based, coarse and fine 0-based.
        Returns:
            its state, label, nominal full scale and the gain of the code that the firmware really takes, arithmetic
            included: the gain of a code is not exactly the nominal one.
        Raises:
            UsageError: the device has no such setting.
        Source:
            product of the stages; the firmware's rule in the device file.
        """
        self._check(setting)
        place = self.places[setting.coarse][setting.fine]
        return Prediction(
            setting=setting,
            state=self._state(setting.channel, place),
            label=f"ch{setting.channel} {place.name}",
            full_scale_vpp=place.full_scale_vpp,
            gain_codes_per_v=place.gain_codes_per_v,
        )

    def _state(self, channel: int, place: Place) -> State:
        first, *more = self.words_of(channel, dict(place.controls))
        return State(word=first, controls=place.controls, arithmetic_ratio=place.arithmetic_ratio, more=tuple(more))

    def index(self, settings: Iterable[Setting]) -> npt.NDArray[np.int64]:
        """Where settings stand in `predict_many`: channels are alike.

        Args:
            settings: in any order.
        Returns:
            shape (n,), coarse · fine positions + fine.
        Raises:
            UsageError: the device has no such setting.
        Source:
            none: bookkeeping.
        """
        return np.asarray([self._index(setting) for setting in settings], dtype=np.int64)

    def predict_many(
        self, index: npt.NDArray[np.int64] | None = None, conditions: Conditions | None = None
    ) -> PredictedMany:
        """What many settings should be, and how far a good unit may be from it, in one pass.

        Args:
            index: from `index`, shape (n,); None takes every coarse and fine position once, in order.
            conditions: None takes those of the device file.
        Returns:
            gains and spreads, shape (n,).
        Source:
            product of the stages; first-order propagation of tolerances (see `spread`).
        """
        arrays, arithmetic_ratio = self.grid, self.arithmetic_ratio
        if index is not None:
            arrays = {name: array[index] for name, array in arrays.items()}
            arithmetic_ratio = arithmetic_ratio[index]
        gains = self.path.gains_codes_per_v(arrays, conditions) * arithmetic_ratio
        found = spread(self.path, arrays, conditions)
        return PredictedMany(
            gains_codes_per_v=gains,
            common_percent=found.common_percent,
            independent_percent=found.independent_percent,
        )

    def _index(self, setting: Setting) -> int:
        self._check(setting)
        return setting.coarse * len(self.fine_names) + setting.fine

    def _check(self, setting: Setting) -> None:
        for what, index, count, first in (
            ("channel", setting.channel, self.channels, 1),
            ("coarse", setting.coarse, len(self.coarse_names), 0),
            ("fine", setting.fine, len(self.fine_names), 0),
        ):
            if not first <= index < first + count:
                raise UsageError(f"{setting}: {what} is {index}; allowed is {first} to {first + count - 1}")

    def predictions(self, channels: Iterable[int] | None = None) -> tuple[Prediction, ...]:
        """What every setting of some channels should be.

        Args:
            channels: 1-based; None takes all.
        Returns:
            one prediction per setting, in order of channel, coarse, fine.
        Raises:
            UsageError: the device has no such channel.
        Source:
            as `predict`.
        """
        wanted = range(1, self.channels + 1) if channels is None else sorted(set(channels))
        return tuple(
            self.predict(Setting(channel, coarse, fine))
            for channel in wanted
            for coarse in range(len(self.coarse_names))
            for fine in range(len(self.fine_names))
        )

    def gain_of(self, controls: Controls) -> float:
        """Which gain the hardware has for any values of the controls, legal codes or not.

        Args:
            controls: a value for each control of the path.
        Returns:
            codes a volt at the input, arithmetic excluded; 0 for a code without gain.
        Raises:
            UsageError: a control is missing or has a value that its stage cannot take.
        Source:
            product of the stages.
        """
        return self.path.gain_codes_per_v(controls)

    def relays_of(self, controls: Controls) -> frozenset[str]:
        """Which relays carry coil current.

        Args:
            controls: a value for each control of the path.
        Returns:
            names of relays.
        Raises:
            UsageError: a control is missing or has a value that its stage cannot take.
        Source:
            the device file.
        """
        return self.path.energised(controls)

    def controls_of_word(self, value: int, *, channel: int = 1) -> dict[str, str | int]:
        """Which controls a captured word holds.

        Args:
            value: the word of the device that holds the code, first bit on the wire highest.
            channel: 1-based.
        Returns:
            value by control, positions of relays in the word included; a code that no named position has stays a
            number.
        Raises:
            UsageError: the device has no bus or no such channel, or the word is longer than the layout.
        Source:
            the layout in the device file.
        """
        if self.words is None:
            raise UsageError(f"control word {value}: the device file has no [bus]; add one with its layout")
        return self._controls_in(self.words.of_channel(channel)[0], value)

    def controls_of_words(self, channel: int, values: Mapping[str, int]) -> dict[str, str | int]:
        """Which controls the captured words of a channel hold, all its gain devices together.

        Args:
            channel: 1-based.
            values: word by latch; devices without one are left out.
        Returns:
            value by control.
        Raises:
            UsageError: as `controls_of_word`.
        Source:
            the layouts in the device file.
        """
        if self.words is None:
            raise UsageError(f"control words {dict(values)}: the device file has no [bus]; add one with its layout")
        found: dict[str, str | int] = {}
        for device in self.words.of_channel(channel):
            if device.latch in values:
                found.update(self._controls_in(device, values[device.latch]))
        return found

    def word_of(self, channel: int, controls: Controls) -> ControlWord:
        """Which word the device that holds a channel's code should hold; the first of `words_of`."""
        return self.words_of(channel, controls)[0]

    def words_of(self, channel: int, controls: Controls) -> tuple[ControlWord, ...]:
        """Which words a channel's gain devices should hold.

        Args:
            channel: 1-based.
            controls: a value for each field of the words; others are ignored.
        Returns:
            the words with their latches, the one with the code first; one of no bits for a device without a bus.
        Raises:
            UsageError: a field's control is missing or does not fit, or the channel has no gain device.
        Source:
            the layouts in the device file.
        """
        if self.words is None:
            return (NO_WORD,)
        relays = self.path.energised(controls) if self.words.drives_relays else frozenset()
        return self.words.words(channel, controls, relays)

    def _controls_in(self, device: GainDevice, value: int) -> dict[str, str | int]:
        found = device.layout.controls_of(value)
        if device.layout.relays:
            energised = device.layout.relays_of(value)
            for stage in self.path.stages:
                if stage.law.coils() & set(device.layout.relays):
                    found.update(stage.law.position_of_relays(energised))
        return found
