"""From one reading beside the ladder to numbers, and which planned reading it was."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from harness.amplitude import HalfWaves, code_spacing, fit_sine3, half_waves
from harness.config import DeviceFile
from harness.errors import MeasureError
from harness.judge.gain_budget import Heard, Reduced
from harness.judge.measured import Measured, measure
from harness.judge.rows import Gathered
from harness.judge.steady_reading import SteadyRecord, steady_record
from harness.judge.uncertainty import scatter_dof
from harness.judge.waveform import Overdriven, overdriven
from harness.values import Purpose, Reading, ReadingStatus, Rung

SAME_FREQUENCY_RATIO = 1e-3
"""How far a frequency read back may be from the planned one and still be that one."""
NOT_READ = "not read"
"""Reason of a planned reading that is not in the record."""
Reducer = Callable[[Gathered], Reduced | None]
"""What a budget must know of readings of a setting."""
WITHOUT_SIGNAL = (Purpose.QUIET, Purpose.CROSSTALK, Purpose.OFFSET)
"""Readings with the source off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraMeasured:
    """Numbers of one planned reading beside the ladder."""

    rung: Rung
    """As planned."""
    reason: str
    """Empty; or why there are no numbers."""
    gain_codes_per_v: float | None = None
    """Where the source was on."""
    offset_code: float | None = None
    """Mean of the record, where the source was off."""
    noise_code: float | None = None
    """RMS around the mean, or around the other channel's signal, where the source was off."""
    crosstalk_ratio: float | None = None
    """Amplitude at the other channel's frequency over the amplitude of that channel's own record."""
    reduced: Reduced | None = None
    """What a budget must know of it, where the source was on."""
    noise_dof: float = 1.0
    """Degrees of freedom of noise_code."""
    heard: Heard | None = None
    """The other channel's signal as the record holds it."""
    overdriven: Overdriven | None = None
    """Where the record ends, of a reading that was driven beyond full scale."""
    half_waves: HalfWaves | None = None
    """Of a reading at one of two levels; None where the record is not kept."""
    steady: SteadyRecord | None = None
    """Of a steady level."""


def unread(rung: Rung) -> ExtraMeasured:
    """A planned reading that is not in the record.

    Args:
        rung: as planned.
    Returns:
        no numbers, and the reason.
    Source:
        none: a record.
    """
    return ExtraMeasured(rung=rung, reason=NOT_READ)


def measure_extra(
    reading: Reading, rung: Rung, *, device: DeviceFile, input_ratio: float, reduce: Reducer
) -> ExtraMeasured:
    """What one reading beside the ladder says in numbers.

    Args:
        reading: raw, the last attempt.
        rung: that it was planned as.
        device: for rails and test frequency.
        input_ratio: volts at the device's input per volt that the source is set to.
        reduce: what a budget must know of a reading.
    Returns:
        the numbers of its purpose; none, with the reason, where the reading cannot be judged.
    Source:
        measure; the ends of an overdriven record; steady_record; mean and standard deviation of the codes where the
        source is off; a sine fit at the other channel's frequency for crosstalk.
    """
    if rung.steady is not None:
        return _at_steady_level(rung, steady_record(reading, device))
    wave = reading.waveform
    plain = reading.status is ReadingStatus.VALID and wave is not None and wave.mode == "sample"
    if rung.purpose is Purpose.OVERDRIVEN and plain and wave is not None:
        return ExtraMeasured(rung=rung, reason="", overdriven=overdriven(wave.codes))
    if rung.purpose not in WITHOUT_SIGNAL and (plain or rung.purpose is not Purpose.OVERDRIVEN):
        one = measure(reading, device=device, bus=None, latches=(), input_ratio=input_ratio)
        return _driven(reading, rung, one, reduce)
    if not plain or wave is None:
        return ExtraMeasured(rung=rung, reason=reading.reason or "no plain record")
    codes = np.asarray(wave.codes, dtype=np.float64)
    if rung.aggressor is None:
        return ExtraMeasured(
            rung=rung,
            reason="",
            offset_code=float(codes.mean()),
            noise_code=float(codes.std(ddof=1)),
            noise_dof=scatter_dof(codes),
        )
    if not reading.aggressor_vpk > 0.0:
        return ExtraMeasured(rung=rung, reason="the other channel was not driven")
    try:
        fit = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=reading.aggressor_hz)
    except MeasureError as error:
        return ExtraMeasured(rung=rung, reason=f"{error.reason}: {error}")
    driven_code = rung.aggressor.amplitude_code * reading.aggressor_vpk / rung.aggressor.drive_vpk
    step = max(float(code_spacing(wave.codes)), rung.prediction.state.arithmetic_ratio)
    return ExtraMeasured(
        rung=rung,
        reason="",
        noise_code=fit.noise_code,
        crosstalk_ratio=fit.amplitude_code / driven_code,
        heard=Heard(
            amplitude_code=fit.amplitude_code / step,
            residual_code=fit.noise_code / step,
            samples=fit.samples,
            driven_code=driven_code,
        ),
    )


def _driven(reading: Reading, rung: Rung, one: Measured, reduce: Reducer) -> ExtraMeasured:
    reason = "" if one.gain_codes_per_v is not None else one.reason or str(one.status)
    alone = Gathered(prediction=rung.prediction, final=(one,), planned=1, attempts=1)
    return ExtraMeasured(
        rung=rung,
        reason=reason,
        gain_codes_per_v=one.gain_codes_per_v,
        reduced=reduce(alone),
        half_waves=None if reason or rung.purpose is not Purpose.TWO_LEVEL else _half_waves(reading, one),
    )


def _half_waves(reading: Reading, one: Measured) -> HalfWaves | None:
    wave, fitted = reading.waveform, one.fitted
    if wave is None or fitted is None:
        return None
    try:
        return half_waves(
            wave.codes, fitted.fit, sample_rate_hz=wave.sample_rate_hz, frequency_hz=fitted.frequency_hz
        )
    except MeasureError:
        return None


def _at_steady_level(rung: Rung, record: SteadyRecord | str) -> ExtraMeasured:
    if isinstance(record, str):
        return ExtraMeasured(rung=rung, reason=record)
    return ExtraMeasured(rung=rung, reason="", steady=record, noise_code=record.found.noise_code)


def place_of(reading: Reading, planned: Sequence[Rung | None], *, test_hz: float) -> int | None:
    """Which planned reading a reading was.

    Args:
        reading: of any purpose.
        planned: the readings beside the ladder in their order; None where one has been found already.
        test_hz: frequency of rungs that name none.
    Returns:
        index of the first that fits by purpose, setting, level and frequency (as far as the reading has one); None
        where none does.
    Source:
        none: bookkeeping.
    """
    for index, rung in enumerate(planned):
        if rung is None or (rung.purpose, rung.setting) != (reading.purpose, reading.setting):
            continue
        wanted_hz = rung.frequency_hz or test_hz
        near = math.isclose(reading.frequency_hz, wanted_hz, rel_tol=SAME_FREQUENCY_RATIO)
        if rung.drive_vpk == reading.drive_set_vpk and (near or reading.frequency_hz == 0.0):
            return index
    return None
