"""Faults of the converter and of everything digital behind it, and of the scale that is displayed."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from harness.simulated.converter import Integers
from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.firmware import Plan, Request, Shown

_FIRST_MISSING, _MISSING_STEP = -700, 211
"""Where codes are missing: spread over the middle of the converter, none at a power of two."""


class CalibrationOfAnotherUnit(Fault):
    """The scale of a range is that of another unit."""

    entry = FaultEntry(
        id="F51",
        name="calibration-of-another-unit",
        kind="product",
        does="the displayed scale of one range comes from another unit's calibration",
        shows="raw codes right, displayed volts off by the size on one range",
        size="error of the scale, percent",
        default_size=1.1,
        low=-90.0,
        high=900.0,
        second="index of the range; left out: the middle one",
        second_low=0,
        second_high=63,
    )

    def shown(self, shown: Shown) -> float:
        """That range only."""
        request = shown.request
        place = None if request is None else request.middle[0] if self.second is None else round(self.second)
        wrong = request is None or request.coarse == place
        return shown.scale_v_per_code * (1.0 + (self.size or 0.0) / 100.0 if wrong else 1.0)


class ScaleRowWrong(Fault):
    """One row of the table of scales is wrong."""

    entry = FaultEntry(
        id="F52",
        name="scale-row-wrong",
        kind="product",
        does="the displayed scale of the middle fine position of the middle range is wrong",
        shows="raw codes right, displayed volts off on one setting",
        size="error of the scale, percent",
        default_size=5.0,
        low=-90.0,
        high=900.0,
    )

    def shown(self, shown: Shown) -> float:
        """That row only."""
        wrong = shown.request is not None and shown.request.in_the_middle
        return shown.scale_v_per_code * (1.0 + (self.size or 0.0) / 100.0 if wrong else 1.0)


class ConverterMissingCodes(Fault):
    """Some codes never come."""

    entry = FaultEntry(
        id="F53",
        name="converter-missing-codes",
        kind="product",
        does="some codes of the converter never appear, always the same ones",
        shows="gaps in the histogram of all records together, whatever the setting",
        size="missing codes",
        default_size=8,
        low=0,
        high=8,
        whole=True,
    )

    def converted(self, codes: Integers) -> Integers:
        """The next code instead."""
        missing = _FIRST_MISSING + _MISSING_STEP * np.arange(round(self.size or 0))
        return np.asarray(codes + np.isin(codes, missing), dtype=np.int64)


class ConverterBitsLost(Fault):
    """Low bits of the converter are tied."""

    entry = FaultEntry(
        id="F54",
        name="converter-bits-lost",
        kind="product",
        does="the lowest data bits of the converter read 0",
        shows="only every second (fourth, eighth) code appears, in all settings; not only where gain is arithmetic",
        size="bits",
        default_size=3,
        low=0,
        high=8,
        whole=True,
    )

    def converted(self, codes: Integers) -> Integers:
        """Without them."""
        return np.asarray(codes & ~(2 ** round(self.size or 0) - 1), dtype=np.int64)


class ConverterReferenceWrong(Fault):
    """The converter's reference is off."""

    entry = FaultEntry(
        id="F55",
        name="converter-reference-wrong",
        kind="product",
        does="the converter's reference is low, so that every voltage gives more codes",
        shows="gain off by the size on every setting; the clip level in volts moves the other way",
        size="error of the gain, percent",
        default_size=4.0,
        low=-50.0,
        high=100.0,
    )

    def converter_ratio(self) -> float:
        """All codes alike."""
        return 1.0 + (self.size or 0.0) / 100.0


class FineGainArithmetic(Fault):
    """Fine gain by multiplication of codes, where hardware is specified."""

    entry = FaultEntry(
        id="F56",
        name="fine-gain-arithmetic",
        kind="product",
        does="the word of fine position 0 is sent for every fine position, the codes are multiplied instead",
        shows="the same word throughout a range; gain right, gaps in the codes",
    )

    def plan(self, plan: Plan, request: Request) -> Plan:
        """The first position's hardware, with the rest as arithmetic."""
        return replace(request.first, hidden_ratio=plan.fine_ratio) if self.strikes() else plan


class ScaleNotUpdated(Fault):
    """The displayed scale lags behind the hardware."""

    entry = FaultEntry(
        id="F57",
        name="scale-not-updated",
        kind="product",
        does="the displayed scale is that of the setting before; with a size it only lacks so much of it",
        shows="raw codes right, displayed volts off by one step",
        size="share of the scale that is missing, percent; left out: the whole step",
        low=-90.0,
        high=900.0,
    )

    def shown(self, shown: Shown) -> float:
        """Late."""
        if self.size is None:
            return shown.before_v_per_code
        return shown.scale_v_per_code * (1.0 - self.size / 100.0)


FAULTS: Final[tuple[type[Fault], ...]] = (
    CalibrationOfAnotherUnit,
    ScaleRowWrong,
    ConverterMissingCodes,
    ConverterBitsLost,
    ConverterReferenceWrong,
    FineGainArithmetic,
    ScaleNotUpdated,
)
