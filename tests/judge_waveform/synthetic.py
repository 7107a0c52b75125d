"""An invented front end for the waveform tests: analog gain, noise, a converter, arithmetic, averaging."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.judge.waveform import Record

RATE_HZ, FREQUENCY_HZ = 500e3, 500e3 * 0.0371937
SAMPLES = 10_000
FILL = 0.75


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One unit; noise and gain errors are its own."""

    bits: int = 12
    front_vrms: float = 20e-6
    """Noise at the input."""
    converter_code: float = 0.5
    """Noise of the converter, quantisation not included."""
    dnl_lsb: float = 0.0
    """Half width of the error of each code's width."""
    lost_bits: int = 0
    offset_code: float = 3.0
    seed: int = 0

    def thresholds(self):
        """Errors of the transitions, codes."""
        if self.dnl_lsb == 0.0:
            return None
        return np.random.default_rng((self.seed, 1)).uniform(-self.dnl_lsb / 2, self.dnl_lsb / 2, 2**self.bits + 1)

    def convert(self, ideal):
        """Ideal real-valued codes to codes."""
        low, high = -(2 ** (self.bits - 1)), 2 ** (self.bits - 1) - 1
        errors = self.thresholds()
        if errors is None:
            codes = np.rint(ideal)
        else:
            floor = np.floor(np.clip(ideal, low, high))
            codes = floor + (ideal - floor >= 0.5 + errors[(floor - low).astype(np.int64)])
        codes = np.clip(codes, low, high).astype(np.int64)
        return codes >> self.lost_bits << self.lost_bits


def record(
    unit,
    rng,
    *,
    gain,
    drive_vpk=None,
    arithmetic=1.0,
    output="integer",
    rounding=np.rint,
    averages=1,
    samples=SAMPLES,
    mode="sample",
    raw=False,
):
    """One record; `gain` is the analog one in codes a volt, `arithmetic` multiplies the codes.

    output: integer (rounded products), float (products as they are), display (codes as they are, the scale is larger).
    Unless a drive is given, the fill of the delivered record is the same for all but reductions.
    """
    if drive_vpk is None:
        total = gain if output == "display" else gain * max(arithmetic, 1.0)  # the converter must not clip
        drive_vpk = FILL * 2.0 ** (unit.bits - 1) / total
    angle = 2 * np.pi * FREQUENCY_HZ / RATE_HZ * np.arange(samples) + rng.uniform(-math.pi, math.pi)
    clean = gain * drive_vpk * np.sin(angle) + unit.offset_code
    delivered = np.zeros(samples)
    for _ in range(averages):
        noise = rng.normal(0.0, gain * unit.front_vrms, samples) + rng.normal(0.0, unit.converter_code, samples)
        codes = unit.convert(clean + noise)
        delivered += _deliver(codes, arithmetic, output, rounding) / averages
    if output != "float":
        delivered = np.rint(delivered).astype(np.int64)
    return Record(
        samples=delivered, sample_rate_hz=RATE_HZ, frequency_hz=FREQUENCY_HZ, drive_vpk=drive_vpk, mode=mode, raw=raw
    )


def _deliver(codes, arithmetic, output, rounding):
    if output == "display" or arithmetic == 1.0:
        return codes.astype(np.float64)
    products = codes * arithmetic
    return products if output == "float" else rounding(products)


def converter_noise(unit):
    """What noise against gain over a ladder would give for the converter, quantisation included."""
    return math.sqrt(unit.converter_code**2 + 4.0**unit.lost_bits / 12.0)


def pair(unit, seed, *, ratio, kind, hardware_error=0.003, base_gain=2000.0, **changes):
    """Reference and setting of one step, and the ratio that the name states."""
    rng = np.random.default_rng((unit.seed, seed))
    a = record(unit, rng, gain=base_gain, **changes)
    true = ratio * math.exp(rng.normal(0.0, hardware_error))
    match kind:
        case "hardware":
            b = record(unit, rng, gain=base_gain * true, **changes)
        case "float" | "integer" | "display":
            b = record(unit, rng, gain=base_gain, arithmetic=ratio, output=kind, **changes)
        case "mixed":
            part = math.sqrt(ratio) * 1.01
            b = record(unit, rng, gain=base_gain * true / part, arithmetic=part, **changes)
        case _:
            raise ValueError(kind)
    return a, b
