"""The readings of one channel as arrays, with the covariance that a good unit's tolerances give them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from harness.diagnosis.catalogue import Sight
from harness.diagnosis.spread import Solver, Spread
from harness.diagnosis.visit import Case, Visit
from harness.errors import UsageError
from harness.law import GainLaw, Part, parts
from harness.law.stages import Control

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

NO_WORD: Final = -1
"""In an array of words: nothing was latched, or nobody knows."""
LN_K_PERCENT: Final = 1.0
"""Prior of the gain of the whole path: half the usual absolute limit. A free one would swallow the patterns of bits."""
FLOOR_PERCENT: Final = 0.05
"""What a model of a good unit leaves at each setting: bit weights, settling, carry."""
LEAST_PERCENT: Final = -1.0e3
"""Stands for the logarithm of no gain at all."""


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """One channel, its visits in order of recording."""

    law: GainLaw
    channel: int
    visits: tuple[Visit, ...]
    index: Integers
    """Place of each visit's setting in the law's grid."""
    off_percent: Floats
    """NaN without a valid gain."""
    planned: Integers
    """Word that each visit should latch; NO_WORD for a device without a bus."""
    latched: Integers
    """Word that the bus latched."""
    heard: Flags
    """Whether the capture of each visit is sound and its frame plain: only then is the word what it seems."""
    beside: frozenset[Sight] = frozenset()
    """What the job shows besides."""

    @property
    def count(self) -> int:
        """Visits."""
        return len(self.visits)

    @cached_property
    def known(self) -> Flags:
        """Visits with a valid gain."""
        return np.asarray(np.isfinite(self.off_percent))

    @cached_property
    def unmeasurable(self) -> Integers:
        """Places of the visits whose gain could not be measured."""
        return np.flatnonzero([not visit.measurable for visit in self.visits])

    @cached_property
    def odd(self) -> frozenset[str]:
        """What was odd about frames of the channel."""
        return frozenset(code for visit in self.visits for code in visit.odd)

    @cached_property
    def code_has_weights(self) -> bool:
        """Whether the gain is a sum over the bits of the code: a step then weighs more the smaller the code is."""
        mine = [
            stage.law
            for stage in self.law.path.hardware()
            if self.law.code_control in {need.name for need in stage.law.needs()}
        ]
        return any(parameter.weight for law in mine for parameter in law.parameters())

    @cached_property
    def arrays(self) -> dict[str, Integers]:
        """Planned controls of each visit."""
        return {name: array[self.index] for name, array in self.law.grid.items()}

    @cached_property
    def coarse(self) -> Integers:
        """Range of each visit."""
        return np.asarray([visit.setting.coarse for visit in self.visits], dtype=np.int64)

    @cached_property
    def fine(self) -> Integers:
        """Fine position of each visit."""
        return np.asarray([visit.setting.fine for visit in self.visits], dtype=np.int64)

    @cached_property
    def first_of_block(self) -> Flags:
        """Visits that come first after a change of range."""
        changed = np.ones(self.count, dtype=np.bool_)
        changed[1:] = self.coarse[1:] != self.coarse[:-1]
        return changed

    @cached_property
    def word_bits(self) -> int:
        """Length of the word with the code; 0 for a device without a bus."""
        return 0 if self.law.words is None else self.law.words.of_channel(self.channel)[0].layout.bits

    @cached_property
    def spread(self) -> Spread:
        """How the readings of a good unit scatter, all visits."""
        own = np.asarray([visit.u_percent for visit in self.visits], dtype=np.float64) ** 2
        distinct, group = np.unique(self.index, return_inverse=True)
        shared = np.zeros(distinct.size)
        shared[group] = self.each_percent**2
        # Half widths of rectangular distributions.
        common = [self._wide(part) / math.sqrt(3.0) for part in self._parts if not part.independent and not part.common]
        columns = np.column_stack([np.full(self.count, LN_K_PERCENT), *common])
        return Spread(own=own, group=group.astype(np.int64), shared=shared, columns=columns)

    @cached_property
    def each_percent(self) -> Floats:
        """What the tolerances of a good unit move each setting by itself, standard uncertainty."""
        each = np.full(self.count, FLOOR_PERCENT**2)
        for part in self._parts:
            if part.independent:
                each = each + self._wide(part) ** 2 / 3.0
        return np.asarray(np.sqrt(each), dtype=np.float64)

    @cached_property
    def sd_percent(self) -> Floats:
        """Standard uncertainty of each reading alone."""
        return np.sqrt(self.spread.diagonal())

    @cached_property
    def part_percent(self) -> Floats:
        """The same without the gain of the whole path, which all readings share."""
        return np.sqrt(self.spread.diagonal() - LN_K_PERCENT**2)

    @cached_property
    def good(self) -> Solver:
        """The metric of good units, known readings."""
        return self.spread.of(self.known).solver()

    @cached_property
    def _parts(self) -> tuple[Part, ...]:
        return parts(self.law.path, self.arrays)

    def _wide(self, part: Part) -> Floats:
        signed: Floats = np.asarray(part.signed_percent, dtype=np.float64)
        return np.broadcast_to(signed, (self.count,))

    def log_gains_percent(self, arrays: dict[str, Integers]) -> Floats:
        """100·ln(G/L) when the controls hold these numbers; LEAST_PERCENT where there is no gain."""
        return self._ratio(arrays, self.arrays)

    def of_words(self, words: Integers) -> Floats:
        """100·ln(G/L) when the gain device holds these words; LEAST_PERCENT for words without a meaning."""
        return self._of(words, self.arrays)

    def at_visit(self, place: int, words: Integers) -> Floats:
        """The same at one visit for each of many words."""
        return self._of(words, {name: np.full(words.shape, array[place]) for name, array in self.arrays.items()})

    def _ratio(self, arrays: dict[str, Integers], planned: dict[str, Integers]) -> Floats:
        with np.errstate(all="ignore"):
            gains = np.asarray(self.law.path.gains_codes_per_v(arrays), dtype=np.float64)
            ratio = gains / np.asarray(self.law.path.gains_codes_per_v(planned), dtype=np.float64)
            found = np.where(ratio > 0.0, 100.0 * np.log(np.maximum(ratio, 1e-300)), LEAST_PERCENT)
        return np.asarray(np.maximum(found, LEAST_PERCENT), dtype=np.float64)

    def _of(self, words: Integers, planned: dict[str, Integers]) -> Floats:
        distinct, back = np.unique(words, return_inverse=True)
        held = [self._held(word) for word in distinct.tolist()]
        dead = np.asarray([numbers is None for numbers in held])[back]
        arrays = dict(planned)
        for name in next((numbers for numbers in held if numbers is not None), {}):
            values = np.asarray([-1 if numbers is None else numbers[name] for numbers in held], dtype=np.int64)[back]
            arrays[name] = np.where(dead, planned[name], values)
        return np.where(dead, LEAST_PERCENT, self._ratio(arrays, planned))

    @cached_property
    def _controls(self) -> dict[str, Control]:
        return dict(self.law.path.controls())

    @cached_property
    def _numbers(self) -> dict[int, dict[str, int] | None]:
        return {}

    def _held(self, word: int) -> dict[str, int] | None:
        """The controls that a word holds, as numbers; None for one without a meaning."""
        if word not in self._numbers:
            self._numbers[word] = self._read(word)
        return self._numbers[word]

    def _read(self, word: int) -> dict[str, int] | None:
        if word < 0:
            return None
        controls = self._controls
        try:
            held = self.law.controls_of_word(word, channel=self.channel)
            found = {name: controls[name].as_number(value) for name, value in held.items() if name in controls}
        except UsageError:
            return None
        return None if any(number < 0 for number in found.values()) else found


def view_of(case: Case, channel: int) -> View:
    """The readings of one channel.

    Args:
        case: the run.
        channel: 1-based; it was read.
    Returns:
        its visits in order of recording, as arrays.
    Source:
        none: a record.
    """
    visits = sorted((v for v in case.visits if v.setting.channel == channel), key=lambda visit: visit.order)
    has_bus = case.law.words is not None
    planned = [case.law.predict(v.setting).state.word.value if has_bus else NO_WORD for v in visits]
    return View(
        law=case.law,
        channel=channel,
        visits=tuple(visits),
        index=case.law.index([visit.setting for visit in visits]),
        off_percent=_numbers([visit.off_percent for visit in visits]),
        planned=np.asarray(planned, dtype=np.int64),
        latched=np.asarray([NO_WORD if v.word is None else v.word for v in visits], dtype=np.int64),
        beside=case.beside,
        heard=np.asarray([v.sound and case.captured and has_bus and not v.odd for v in visits], dtype=np.bool_),
    )


def _numbers(values: Sequence[float | None]) -> Floats:
    return np.asarray([np.nan if value is None else value for value in values], dtype=np.float64)
