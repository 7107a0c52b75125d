"""W3: the noise referred to the input."""

from __future__ import annotations

import math

from harness.judge.waveform.record import Seen
from harness.judge.waveform.result import WaveformTest, decided, unmet

NOISE_STEPS = 0.3
"""Below it rounding distorts the noise (common practice)."""
NINETY_PERCENT = 3.24
"""1.96 + 1.28: power 90 % at 5 % two-sided."""
MODEL_RATIO = 0.01
"""How well the noise of a rounded record is known, relative."""
MISFIT = 2.5
"""Standard deviations from both expectations at which neither is believed: a mixed step lies between."""
UNEQUAL_BANDS = 1.5
"""Ratio of the independent samples of two records at which their noise is of another colour."""


def noise_ratio(converter_over_front: float, ratio: float) -> float:
    """How much the noise at the input falls when hardware gain rises.

    Args:
        converter_over_front: converter noise over front-end noise, both at the input, at the reference; >= 0.
        ratio: of the gains, > 0.
    Returns:
        noise at the input after over before, √((1 + ρ²/m²)/(1 + ρ²)).
    Source:
        σ_in² = e_fe² + (e_adc/G)²; table in tests/judge_waveform/test_published_noise.py.
    """
    square = converter_over_front**2
    return math.sqrt((1.0 + square / ratio**2) / (1.0 + square))


def samples_needed(ratio: float) -> float:
    """How many independent samples show a ratio of two standard deviations.

    Args:
        ratio: of the two, > 0, not 1.
    Returns:
        (3.24/ln ratio)² for 90 % power at 5 % two-sided.
    Source:
        F test of two variances, normal approximation.
    """
    return (NINETY_PERCENT / math.log(ratio)) ** 2


def input_noise(a: Seen, b: Seen, *, ratio: float, converter_noise_code: float | None = None) -> WaveformTest:
    """Whether the noise referred to the input changed as gain ahead of the converter would change it.

    Equal noise speaks for arithmetic only where hardware would have made a difference, for converter noise is known to
    matter. Without a known converter noise only the quantisation itself counts as such.

    Args:
        a: the reference setting.
        b: the setting that is `ratio` times more sensitive by name.
        ratio: name of b over name of a, > 0, not 1.
        converter_noise_code: noise added by the converter, quantisation included, rms steps of the reference; None when
            it is not known (it follows from noise against gain over the ladder).
    Returns:
        the test.
    Source:
        common practice, no source (test W3): σ_in² = e_fe² + (e_adc/G)², F test with n/(1 + 2Σρ²) samples.
    """
    for name, seen in (("reference", a), ("setting", b)):
        if not seen.plain:
            return unmet("W3", f"{name}: {seen.not_plain}")
    if a.noise_steps < NOISE_STEPS:
        seen_steps = f"{a.noise_steps:.2f} steps of noise in the reference"
        return unmet("W3", f"{seen_steps}; allowed are {NOISE_STEPS:g} or more: rounding distorts less noise")
    bands = a.effective / a.record.samples.size / (b.effective / b.record.samples.size)
    if not 1.0 / UNEQUAL_BANDS < bands < UNEQUAL_BANDS:
        return unmet("W3", "the noise of the two records is of different bandwidth")
    input_a, input_b = a.fit.noise_code / a.gain_per_v, b.fit.noise_code / b.gain_per_v
    value = math.log(input_b / input_a)
    u = math.sqrt(1.0 / min(a.effective, b.effective) + MODEL_RATIO**2)
    hardware = _hardware(a, ratio, converter_noise_code)
    arithmetic = _arithmetic(a, b)
    distance = max(hardware[0] - arithmetic[1], arithmetic[0] - hardware[1])
    met = distance >= NINETY_PERCENT * u
    # Beyond the expectation for hardware a value counts as hardware: relays ahead of the first amplifier change its
    # noise at the input as well, which arithmetic cannot. See gaussian_llr.
    beyond = value < hardware[0] if ratio > 1.0 else value > hardware[1]
    between = not beyond and min(_off(value, arithmetic), _off(value, hardware)) > MISFIT * u
    held = max(min(hardware[0], arithmetic[0]), min(max(hardware[1], arithmetic[1]), value))
    llr = (_off(held, arithmetic) ** 2 - _off(held, hardware) ** 2) / (2.0 * u * u)
    text = (
        f"noise at the input ×{math.exp(value):.3f} (±{200.0 * u:.2g} %); arithmetic ×{math.exp(arithmetic[0]):.3f}, "
        f"hardware ×{math.exp(hardware[0]):.3f} to ×{math.exp(hardware[1]):.3f}"
    )
    if between:
        return decided("W3", 0.0, f"{text}: neither", None)
    power_m = _power_m(a, u, converter_noise_code)
    if not met and llr <= 0.0:
        return unmet("W3", f"{text}: the front end dominates, so hardware would leave it equal as well")
    return decided("W3", llr, text, power_m)


def _hardware(a: Seen, ratio: float, converter_noise_code: float | None) -> tuple[float, float]:
    """Logarithms of least and largest ratio of the noise at the input that hardware gain can give."""
    total = (a.fit.noise_code / a.grid) ** 2
    least, most = 1.0 / 12.0, total
    if converter_noise_code is not None:
        least, most = min(0.9 * converter_noise_code**2, total), min(1.1 * converter_noise_code**2, total)
    ends = [0.5 * math.log(1.0 - part / total * (1.0 - 1.0 / ratio**2)) for part in (least, most)]
    return min(ends), max(ends)


def _arithmetic(a: Seen, b: Seen) -> tuple[float, float]:
    """Logarithms for arithmetic: equal, or a little more where products are rounded again."""
    added = (b.grid / b.gain_per_v) ** 2 / 12.0 / (a.fit.noise_code / a.gain_per_v) ** 2 if b.whole else 0.0
    return 0.0, 0.5 * math.log(1.0 + added)


def _off(value: float, ends: tuple[float, float]) -> float:
    return max(ends[0] - value, value - ends[1], 0.0)


def _power_m(a: Seen, u: float, converter_noise_code: float | None) -> float | None:
    """Smallest magnification whose hardware noise stands clear of arithmetic."""
    total = (a.fit.noise_code / a.grid) ** 2
    share = (1.0 / 12.0 if converter_noise_code is None else min(0.9 * converter_noise_code**2, total)) / total
    # 1 - share·(1 - 1/m²) = exp(-2·3.24·u)
    left = 1.0 - (1.0 - math.exp(-2.0 * NINETY_PERCENT * u)) / share
    return 1.0 / math.sqrt(left) if left > 0.0 else None
