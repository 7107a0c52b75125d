"""A fetched record of converter codes with the scale that came in the same transaction."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from harness.errors import NotFinite

Codes = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waveform:
    """Raw codes in plain sample mode; the array is made read-only."""

    codes: Codes
    """Shape (n,), as the device sent them."""
    sample_rate_hz: float
    """Samples a second, > 0."""
    scale_v_per_code: float
    """Input volts a code, as the device displays them; > 0."""
    sequence: int
    """The device's acquisition counter: an unchanged number is a stale record."""
    mode: str = "sample"
    """Acquisition mode as read back; anything but plain samples is unfit for realness."""

    def __post_init__(self) -> None:
        for name, value in (("sample_rate_hz", self.sample_rate_hz), ("scale_v_per_code", self.scale_v_per_code)):
            if not (math.isfinite(value) and 0.0 < value < 9.9e36):
                raise NotFinite(f"waveform: {name} is {value!r}; allowed is a positive finite number")
        self.codes.setflags(write=False)


def joined(records: Sequence[Waveform]) -> Waveform:
    """Records one after another as one.

    Args:
        records: at least one, of one device.
    Returns:
        their codes in order, with the scale, rate, mode and counter of the last.
    """
    return replace(records[-1], codes=np.concatenate([record.codes for record in records]))
