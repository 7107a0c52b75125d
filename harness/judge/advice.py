"""Which setting measures a signal of some size with the least uncertainty, beside the best coarse range alone."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from harness.config import DeviceFile
from harness.errors import UsageError
from harness.judge.calibration import CalibrationPoint
from harness.judge.uncertainty import fit_noise, noise_before_rounding_code, nonlinearity
from harness.law import GainLaw
from harness.values import Setting

INL_CODE = 0.5
"""Converter non-linearity that is reckoned with, code steps over the span of the signal."""
SAME_RATIO = 1e-9
"""Uncertainties closer than this count as equal: hardware beats arithmetic, then less gain beats more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """A setting that may be chosen."""

    setting: Setting
    label: str
    gain_codes_per_v: float
    """Arithmetic included."""
    arithmetic_ratio: float
    """Of it behind the converter: the steps of the converter are so many output codes."""
    u_gain_percent: float
    """Standard uncertainty of the gain."""
    noise_code: float = 0.0
    """Rms before the rounding, steps of the converter."""
    offset_code: float = 0.0
    """Output codes."""

    def fill_ratio(self, amplitude_vpk: float, span_codes: int) -> float:
        """How far the signal goes to the nearer rail; the offset takes its part."""
        return (amplitude_vpk * self.gain_codes_per_v + abs(self.offset_code)) / (span_codes / 2.0)

    def steps_peak(self, amplitude_vpk: float) -> float:
        """Amplitude in steps of the converter."""
        return amplitude_vpk * self.gain_codes_per_v / self.arithmetic_ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A setting, and what it makes of the signal."""

    setting: Setting
    label: str
    fill_ratio: float
    """Of the way to the nearer rail, offset included."""
    bits_used: float
    """log2 of the converter steps that the signal spans."""
    u_percent: float
    """Standard uncertainty of a measured amplitude: the three below together."""
    noise_percent: float
    """Noise and quantisation."""
    nonlinearity_percent: float
    gain_percent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to choose."""

    amplitude_vpk: float
    best: Choice
    coarse_only: Choice | None
    """The best range at its first fine position; None where no such position is known or takes the signal."""


def options_of_law(law: GainLaw, device: DeviceFile, *, channel: int) -> tuple[Option, ...]:
    """Which settings a channel has, as the law knows them.

    Args:
        law: of the device.
        device: for the noise of its quiet input, where it is stated.
        channel: 1-based.
    Returns:
        one option for each setting; without a stated noise only quantisation is reckoned with, without tolerances the
        gain counts as exact.
    Raises:
        UsageError: the device has no such channel.
    Source:
        half widths of tolerances as of a rectangle, a/√3 (JCGM 100:2008, 4.3.7); noise at the input is amplified with
        the signal.
    """
    spread_percent = law.predict_many().total_percent
    predictions = law.predictions([channel])
    noise_v = 0.0
    if device.quiet_noise is not None:
        quiet = law.predict(Setting(channel, *device.quiet_noise.place(device)))
        noise_v = device.quiet_noise.noise_code / quiet.gain_codes_per_v
    return tuple(
        Option(
            setting=prediction.setting,
            label=prediction.label,
            gain_codes_per_v=prediction.gain_codes_per_v,
            arithmetic_ratio=prediction.state.arithmetic_ratio,
            u_gain_percent=float(half_width) / math.sqrt(3.0),
            noise_code=noise_v * prediction.gain_codes_per_v / prediction.state.arithmetic_ratio,
        )
        for prediction, half_width in zip(predictions, spread_percent, strict=True)
    )


def options_of_record(points: Iterable[CalibrationPoint], law: GainLaw, *, channel: int) -> tuple[Option, ...]:
    """Which settings of a channel a run has measured, as it measured them.

    Args:
        points: of one unit.
        law: of the device, for declared arithmetic.
        channel: 1-based.
    Returns:
        one option for each measured setting of the channel.
    Raises:
        UsageError: the run measured nothing on the channel.
    Source:
        residual² = σ² + 1/12 in steps of the converter, see noise_before_rounding_code.
    """
    found: list[Option] = []
    for point in points:
        if point.setting.channel == channel:
            ratio = law.predict(point.setting).state.arithmetic_ratio
            found.append(
                Option(
                    setting=point.setting,
                    label=point.label,
                    gain_codes_per_v=point.measured_codes_per_v,
                    arithmetic_ratio=ratio,
                    u_gain_percent=point.u_percent,
                    noise_code=float(noise_before_rounding_code(point.noise_code / ratio)),
                    offset_code=point.offset_code,
                )
            )
    if not found:
        raise UsageError(f"the run measured no setting of channel {channel}; choose another with --channel")
    return tuple(found)


def advise(
    options: Sequence[Option],
    amplitude_vpk: float,
    *,
    span_codes: int,
    samples: int,
    fill_high_ratio: float,
    limit_vpk: float,
) -> Advice:
    """Which setting measures a sine of some amplitude with the least uncertainty.

    Args:
        options: settings of one channel, at least one.
        amplitude_vpk: at the device's input, V peak.
        span_codes: codes from rail to rail.
        samples: in each record.
        fill_high_ratio: most that the signal may take of the way to a rail, offset included.
        limit_vpk: most that the input bears, V peak.
    Returns:
        the best setting, and the best range at fine position 0.
    Raises:
        UsageError: the amplitude is no positive number, above the input limit, above what the least sensitive setting
            takes, or spans less than one step of the converter at the most sensitive one.
    Source:
        amplitude of a fitted sine: 2(σ² + 1/12)/N (Kay 1993, example 3.14, from memory); non-linearity 0.5 step of the
        span, rectangular; independent parts add as root sum of squares (JCGM 100:2008, 5.1.2).
    """
    if not (math.isfinite(amplitude_vpk) and amplitude_vpk > 0.0):
        raise UsageError(f"amplitude {amplitude_vpk!r} V peak; allowed: a positive finite number")
    if amplitude_vpk > limit_vpk:
        raise UsageError(
            f"amplitude {amplitude_vpk:g} V peak is above the input limit of {limit_vpk:g} V peak: put a pad in front"
        )
    most = max(options, key=lambda option: option.steps_peak(1.0))
    if 2.0 * most.steps_peak(amplitude_vpk) < 1.0:
        raise UsageError(
            f"amplitude {amplitude_vpk:g} V peak spans {2.0 * most.steps_peak(amplitude_vpk):.2g} code at the most "
            f"sensitive setting, {most.label}; allowed: at least 1, from {0.5 / most.steps_peak(1.0):.3g} V peak"
        )
    fit = [option for option in options if option.fill_ratio(amplitude_vpk, span_codes) <= fill_high_ratio]
    if not fit:
        least = min(options, key=lambda option: option.gain_codes_per_v)
        room_code = fill_high_ratio * span_codes / 2.0 - abs(least.offset_code)
        raise UsageError(
            f"amplitude {amplitude_vpk:g} V peak is above every full scale: the least sensitive setting, "
            f"{least.label}, takes {room_code / least.gain_codes_per_v:.4g} V peak at a fill of {fill_high_ratio:g}"
        )
    choices = _rated(fit, amplitude_vpk, span_codes=span_codes, samples=samples)
    coarse = [pair for pair in choices if pair[1].setting.fine == 0]
    return Advice(
        amplitude_vpk=amplitude_vpk, best=_best(choices), coarse_only=_best(coarse) if coarse else None
    )  # fmt: skip


def _rated(
    options: Sequence[Option], amplitude_vpk: float, *, span_codes: int, samples: int
) -> list[tuple[Option, Choice]]:
    steps = np.asarray([option.steps_peak(amplitude_vpk) for option in options], dtype=np.float64)
    sigma = np.asarray([option.noise_code for option in options], dtype=np.float64)
    noise = fit_noise(steps, noise_code=sigma, samples=samples).standard_percent.tolist()
    bent = nonlinearity(steps, inl_code=INL_CODE).standard_percent.tolist()
    return [
        (
            option,
            Choice(
                setting=option.setting,
                label=option.label,
                fill_ratio=option.fill_ratio(amplitude_vpk, span_codes),
                bits_used=math.log2(2.0 * float(peak)),
                u_percent=math.hypot(noise[place], bent[place], option.u_gain_percent),
                noise_percent=noise[place],
                nonlinearity_percent=bent[place],
                gain_percent=option.u_gain_percent,
            ),
        )
        for place, (option, peak) in enumerate(zip(options, steps, strict=True))
    ]


def _best(choices: Sequence[tuple[Option, Choice]]) -> Choice:
    least = min(choice.u_percent for _, choice in choices)
    equal = [pair for pair in choices if pair[1].u_percent <= least * (1.0 + SAME_RATIO)]
    return min(equal, key=lambda pair: (pair[0].arithmetic_ratio != 1.0, pair[0].gain_codes_per_v))[1]
