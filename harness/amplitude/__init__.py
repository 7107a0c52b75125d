"""Waveform to amplitude, offset, phase, noise, and whether the record may be judged."""

from harness.amplitude.quality import check_quality, code_spacing
from harness.amplitude.sine import SineFits, fit_sine3, fit_sines3

__all__ = ["SineFits", "check_quality", "code_spacing", "fit_sine3", "fit_sines3"]
