"""Waveform to amplitude, offset, phase, noise, converter figures, and whether the record may be judged."""

from harness.amplitude.coherent import FrequencyPlan, plan_frequency
from harness.amplitude.figures import (
    CodeGaps,
    NoiseSplit,
    OffsetSplit,
    code_gaps,
    effective_bits,
    noise_at_input_v,
    sinad_db,
    split_noise,
    split_offset,
    used_bits,
)
from harness.amplitude.flags import Flag, clip_before_converter, low_noise, quiet_level, stale_record, too_few_cycles
from harness.amplitude.frequency_error import FrequencyError, frequency_error
from harness.amplitude.half_waves import HalfWaves, half_waves
from harness.amplitude.histogram import Linearity, samples_for_every_code, sine_histogram
from harness.amplitude.levels import TwoLevel, rms_amplitude_code, two_level
from harness.amplitude.plain import noise_correlation, processed_samples
from harness.amplitude.quality import check_quality, code_spacing
from harness.amplitude.rms_check import rms_differs
from harness.amplitude.rounding import dc_bias_code, rounded_amplitude_code, worst_bias_ratio
from harness.amplitude.settled import start_unrest
from harness.amplitude.sine import SineFits, fit_sine3, fit_sines3
from harness.amplitude.sine4 import SineFit4, fit_sine4
from harness.amplitude.steady import (
    Steady,
    dithered_bias_code,
    is_quiet,
    steady,
    steady_noise_code,
)
from harness.amplitude.tones import Tone, ToneFit, fit_sines, harmonics_hz, mains_hz, tones_of

__all__ = [
    "CodeGaps",
    "Flag",
    "FrequencyError",
    "FrequencyPlan",
    "HalfWaves",
    "Linearity",
    "NoiseSplit",
    "OffsetSplit",
    "SineFit4",
    "SineFits",
    "Steady",
    "Tone",
    "ToneFit",
    "TwoLevel",
    "check_quality",
    "clip_before_converter",
    "code_gaps",
    "code_spacing",
    "dc_bias_code",
    "dithered_bias_code",
    "effective_bits",
    "fit_sine3",
    "fit_sine4",
    "fit_sines",
    "fit_sines3",
    "frequency_error",
    "half_waves",
    "harmonics_hz",
    "is_quiet",
    "low_noise",
    "mains_hz",
    "noise_at_input_v",
    "noise_correlation",
    "plan_frequency",
    "processed_samples",
    "quiet_level",
    "rms_amplitude_code",
    "rms_differs",
    "rounded_amplitude_code",
    "samples_for_every_code",
    "sinad_db",
    "sine_histogram",
    "split_noise",
    "split_offset",
    "stale_record",
    "start_unrest",
    "steady",
    "steady_noise_code",
    "tones_of",
    "too_few_cycles",
    "two_level",
    "used_bits",
    "worst_bias_ratio",
]
