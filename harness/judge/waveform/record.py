"""A record as a waveform test sees it: fit, noise, the grid of its values, and whether the samples are plain."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from harness.amplitude import code_spacing, fit_sine3, processed_samples
from harness.errors import FitFailed, NotFinite
from harness.judge.waveform.histogram import Bins, bins_of
from harness.judge.waveform.lattice import Spacing, expected_hits, find_spacing
from harness.values import SineFit

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Booleans = npt.NDArray[np.bool_]

PLAIN_MODE = "sample"
GRID_SPAN = 16
"""A record must span this many grid steps before its grid is believed."""
GRID_ERROR = 0.02
"""Of a grid step: values farther from the grid are no multiples of it."""
CORRELATED_LAGS = 40


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """One record of one setting with what is known of how it was taken; the array is made read-only."""

    samples: Floats | Integers | npt.NDArray[np.int16]
    """Shape (n,), n >= 200, as the device delivered them: codes, or multiplied codes; not clipped (check_quality),
    except the overdriven ones of W4."""
    sample_rate_hz: float
    frequency_hz: float
    drive_vpk: float
    """Amplitude at the device's input."""
    mode: str = PLAIN_MODE
    """Acquisition mode as read back; anything but `sample` makes every test unfit."""
    raw: bool = False
    """True where the values are known to come from before any arithmetic."""

    def __post_init__(self) -> None:
        for name in ("sample_rate_hz", "frequency_hz", "drive_vpk"):
            value = getattr(self, name)
            if not (math.isfinite(value) and 0.0 < value < 9.9e36):
                raise NotFinite(f"waveform test: {name} is {value!r}; allowed is a positive finite number")
        self.samples.setflags(write=False)


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """What a record shows; build it with `see`. What several tests ask for is worked out once; sines are made anew,
    for a run keeps one of these for each setting."""

    record: Record
    fit: SineFit
    """In delivered units."""
    whole: bool
    """Whether the values are whole numbers."""
    grid: float
    """Spacing of the values in delivered units; 0 where they lie on no grid."""
    effective: float
    """Number of independent noise samples: n/(1 + 2·Σρ²)."""
    plain: bool
    not_plain: str
    """Why the samples are not plain; empty when they are."""

    @property
    def mean(self) -> Floats:
        """Shape (n,): the fitted sine at each sample, delivered units."""
        return _sine(self.record, self.fit)

    @property
    def codes(self) -> Integers | None:
        """Shape (n,): the values as whole numbers; None where they are not."""
        return np.rint(self.record.samples).astype(np.int64) if self.whole else None

    @property
    def steps(self) -> Integers | None:
        """Shape (n,): the values in grid steps; None without a grid."""
        return None if self.grid <= 0.0 else np.rint(self.record.samples / self.grid).astype(np.int64)

    @cached_property
    def counts(self) -> tuple[int, npt.NDArray[np.int32]]:
        """The lowest whole value, and how often it and each above it was delivered."""
        codes = np.rint(self.record.samples).astype(np.int64)
        first = int(codes.min())
        return first, np.bincount(codes - first).astype(np.int32)

    @cached_property
    def expected(self) -> tuple[int, Floats]:
        """The lowest whole value, and how often it and each above it should be delivered if all of them can be."""
        return expected_hits(self.mean, math.sqrt(max(self.fit.noise_code**2 - 1.0 / 12.0, 0.0)))

    @cached_property
    def spacing(self) -> Spacing | None:
        """Mean distance of the values that the record can take; see `spacing_of`."""
        steps = self.steps
        return None if steps is None else find_spacing(steps, self.mean, self.fit, self.grid)

    @property
    def step_counts(self) -> tuple[int, Integers]:
        """The lowest step, and how often it and each above it was delivered; none without a grid."""
        steps = self.steps
        if steps is None:
            return 0, np.zeros(0, dtype=np.int64)
        first = int(steps.min())
        return first, np.bincount(steps - first).astype(np.int64, copy=False)

    @cached_property
    def bins(self) -> Bins:
        """Its histogram; asked for where there is a grid."""
        return bins_of(*self.step_counts, self.mean, self.grid, self.noise_steps)

    def counts_between(self, low: int, high: int) -> Integers:
        """How often each whole value from low to high was delivered."""
        first, counts = self.counts
        found = np.zeros(high - low + 1, dtype=np.int64)
        start, end = max(low, first), min(high, first + counts.size - 1)
        if end >= start:
            found[start - low : end - low + 1] = counts[start - first : end - first + 1]
        return found

    def expected_between(self, low: int, high: int) -> Floats:
        """How often each whole value from low to high should be; both within what the record visits."""
        first, hits = self.expected
        return hits[low - first : high - first + 1]

    @property
    def gain_per_v(self) -> float:
        """Delivered units a volt at the input."""
        return self.fit.amplitude_code / self.record.drive_vpk

    @property
    def noise_steps(self) -> float:
        """Noise before the rounding, rms grid steps: the residual less quantisation; 0 without a grid."""
        if self.grid <= 0.0:
            return 0.0
        return math.sqrt(max((self.fit.noise_code / self.grid) ** 2 - 1.0 / 12.0, 0.0))


def see(record: Record, *, fit: SineFit | None = None) -> Seen:
    """What a record shows, before anybody asks what it should show.

    Args:
        record: at least one cycle, 200 samples or more.
        fit: of the same record, where it is known already.
    Returns:
        fit, grid of the values, noise, and whether the samples are plain.
    Raises:
        NotFinite: a sample is NaN, infinite or an instrument's 9.9E37.
        TooFewCycles: less than one cycle.
        FitFailed: no sine can be fitted, it has no amplitude, or the record is shorter than 200 samples.
    Source:
        sine fit: IEEE Std 1057; grid: greatest common divisor of the differences of distinct values.
    """
    samples = np.asarray(record.samples, dtype=np.float64)
    if fit is None:
        fit = fit_sine3(samples, sample_rate_hz=record.sample_rate_hz, frequency_hz=record.frequency_hz)
    if not fit.amplitude_code > 0.0:
        raise FitFailed("waveform test: the record is constant; allowed is a record with a signal: check the drive")
    whole = np.rint(samples)
    is_whole = bool(np.all(whole == samples))
    grid = _grid_of_codes(whole.astype(np.int64)) if is_whole else _grid_of_floats(samples)
    reason = _not_plain(record, samples, grid)
    return Seen(
        record=record,
        fit=fit,
        whole=is_whole,
        grid=grid,
        effective=_effective(samples - _sine(record, fit)),
        plain=not reason,
        not_plain=reason,
    )


def _sine(record: Record, fit: SineFit) -> Floats:
    angle_rad = (2.0 * math.pi * record.frequency_hz / record.sample_rate_hz) * np.arange(record.samples.size)
    return np.asarray(fit.offset_code + fit.amplitude_code * np.sin(angle_rad + fit.phase_rad), dtype=np.float64)


def _grid_of_codes(codes: Integers) -> float:
    spacing = code_spacing(codes)  # type: ignore[arg-type]  # any integers will do
    span = int(codes.max()) - int(codes.min())
    return float(spacing) if span >= GRID_SPAN * spacing else 1.0


def _grid_of_floats(samples: Floats) -> float:
    """Spacing of values that are multiples of one number; 0 when they are not."""
    distinct = np.unique(samples)
    distinct = distinct - distinct[0]
    gaps = np.diff(distinct)
    gaps = gaps[gaps > 1e-9 * distinct[-1]]
    if gaps.size == 0 or distinct[-1] < GRID_SPAN * gaps.min():
        return 0.0
    grid = float(gaps.min())
    # The smallest gap is rounded; a line through all values in turn knows the spacing better.
    for reach in (1e2, 1e4, 1e6):
        near = distinct[distinct <= reach * grid]
        steps = np.rint(near / grid)
        if steps[-1] > 0.0:
            grid = float(steps @ near / (steps @ steps))
    steps = distinct / grid
    return grid if float(np.abs(steps - np.rint(steps)).max()) < GRID_ERROR else 0.0


def _not_plain(record: Record, samples: Floats, grid: float) -> str:
    if record.mode != PLAIN_MODE:
        return f"acquisition mode is {record.mode!r}; allowed is {PLAIN_MODE!r}: switch averaging and filters off"
    if grid <= 0.0:
        return "the values lie on no grid: averaged, filtered or interpolated data; fetch raw codes"
    flags = processed_samples(
        np.rint(samples / grid), sample_rate_hz=record.sample_rate_hz, frequency_hz=record.frequency_hz
    )
    return flags[0].reason if flags else ""


def _effective(residual: Floats) -> float:
    """Correlated samples count less: n/(1 + 2·Σρ²), the share that white noise shows by chance taken off."""
    centred = residual - residual.mean()
    total = float(centred @ centred)
    if total <= 0.0:
        return float(residual.size)
    # By the power spectrum, padded so that the end does not meet the beginning; 40 products are a hundred times slower.
    spectrum = np.fft.rfft(centred, 1 << (residual.size + CORRELATED_LAGS).bit_length())
    correlations = np.fft.irfft((spectrum * spectrum.conj()).real)[1 : CORRELATED_LAGS + 1] / total
    excess = max(0.0, float(correlations @ correlations) - 2.0 * CORRELATED_LAGS / residual.size)
    return residual.size / (1.0 + 2.0 * excess)
