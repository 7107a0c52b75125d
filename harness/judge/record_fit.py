"""The fit of a record: three parameters, four where the frequency is in doubt, with the lines that were asked for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.amplitude import (
    Flag,
    Tone,
    fit_sine3,
    fit_sine4,
    fit_sines,
    frequency_error,
    harmonics_hz,
)
from harness.config import FitTerms
from harness.errors import FitFailed, MeasureError
from harness.values import SineFit, Waveform

PPM = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordFit:
    """What was fitted to a record."""

    fit: SineFit
    frequency_hz: float
    """That the fit rests on: read back, or found."""
    flags: tuple[Flag, ...] = ()
    hum: tuple[Tone, ...] = ()
    """Lines of the mains that the fit took along."""
    harmonics: tuple[Tone, ...] = ()
    """Harmonics of the signal that it took along."""
    offset_spread_ratio: float = 1.0
    """Standard uncertainty of the offset over noise/√n: a line that the record hardly holds one period of is much like
    an offset."""

    @property
    def tones(self) -> tuple[Tone, ...]:
        """All lines beside the signal."""
        return (*self.hum, *self.harmonics)

    @property
    def hum_code(self) -> float | None:
        """Hum, root sum of squares of its lines, peak; None where none was looked for."""
        return _together(self.hum)

    @property
    def harmonic_code(self) -> float | None:
        """Harmonics, likewise."""
        return _together(self.harmonics)


def _together(tones: Sequence[Tone]) -> float | None:
    return math.hypot(*(tone.amplitude_code for tone in tones)) if tones else None


def fit_record(wave: Waveform, *, read_hz: float, planned_hz: float, terms: FitTerms) -> RecordFit:
    """The sine of a record.

    Args:
        wave: the record.
        read_hz: frequency that the source reads back; 0 where it does not.
        planned_hz: that it was asked for.
        terms: lines to take along.
    Returns:
        the fit; flags say where the frequency was left free and why, and where lines could not be taken along.
    Raises:
        NotFinite, TooFewCycles, FitFailed: as fit_sine3.
    Source:
        IEEE Std 1057: three-parameter fit, four-parameter fit, and more columns for further lines.
    """
    found = _of_frequency(wave, read_hz=read_hz, planned_hz=planned_hz)
    if terms.mains_hz is None and not terms.harmonics:
        return found
    hum_hz = [] if terms.mains_hz is None else [terms.mains_hz * order for order in range(1, terms.mains_lines + 1)]
    orders = range(2, terms.harmonics + 2)
    try:
        extra_hz = [*hum_hz, *harmonics_hz(found.frequency_hz, orders, sample_rate_hz=wave.sample_rate_hz)]
        whole = fit_sines(
            wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=found.frequency_hz, extra_hz=extra_hz
        )
    except MeasureError as error:
        told = Flag(
            name="lines-not-fitted",
            severity="flag",
            reason=f"hum and harmonics were asked for ([fit]) and not taken along: {error}",
        )
        return RecordFit(fit=found.fit, frequency_hz=found.frequency_hz, flags=(*found.flags, told))
    return RecordFit(
        fit=whole.signal,
        frequency_hz=found.frequency_hz,
        flags=found.flags,
        hum=whole.extra[: len(hum_hz)],
        harmonics=whole.extra[len(hum_hz) :],
        offset_spread_ratio=whole.offset_spread_ratio,
    )


def _of_frequency(wave: Waveform, *, read_hz: float, planned_hz: float) -> RecordFit:
    start_hz, rate_hz = read_hz or planned_hz, wave.sample_rate_hz
    fit = fit_sine3(wave.codes, sample_rate_hz=rate_hz, frequency_hz=start_hz)
    off = frequency_error(wave.codes, fit, sample_rate_hz=rate_hz, frequency_hz=start_hz) if read_hz else None
    if read_hz and not (off and off.costs):
        return RecordFit(fit=fit, frequency_hz=start_hz)
    name = "frequency-off" if read_hz else "frequency-unknown"
    why = f"the source reads back {read_hz:.9g} Hz" if read_hz else "the source reads back no frequency"
    try:
        free = fit_sine4(wave.codes, sample_rate_hz=rate_hz, frequency_hz=start_hz)
    except FitFailed as error:
        kept = f"the amplitude is that at {start_hz:.9g} Hz"
        flag = Flag(name=name, severity="flag", reason=f"{why}, and none could be found ({error}): {kept}")
        return RecordFit(fit=fit, frequency_hz=start_hz, flags=(flag,))
    ppm = PPM * (free.frequency_hz / start_hz - 1.0)
    clocks = "clocks of source and converter differ: let them share one" if read_hz else "let it read back"
    lost = 100.0 * (free.amplitude_code / fit.amplitude_code - 1.0) if fit.amplitude_code > 0.0 else 0.0
    flag = Flag(
        name=name,
        severity="flag",
        reason=f"{why}, and the record holds {free.frequency_hz:.9g} Hz ({ppm:+.3g} ppm of {start_hz:.9g} Hz): the fit "
        f"took the frequency along, which raised the gain by {lost:.2g} %; {clocks}",
    )
    plain = SineFit(
        amplitude_code=free.amplitude_code,
        offset_code=free.offset_code,
        phase_rad=free.phase_rad,
        noise_code=free.noise_code,
        samples=free.samples,
    )
    return RecordFit(fit=plain, frequency_hz=free.frequency_hz, flags=(flag,))
