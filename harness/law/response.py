"""How much of the gain is left at another frequency."""

from __future__ import annotations

import dataclasses
import math

from harness.config import Response
from harness.law.gain_law import GainLaw
from harness.law.stages import Controls, array_of


def frequency_ratio(law: GainLaw, response: Response | None, controls: Controls, *, frequency_hz: float) -> float:
    """Which share of the gain at the test frequency a state has at another one.

    Args:
        law: of the device, for its test frequency and for poles among the corrections of its stages.
        response: pole of the whole path; None where the device file states none.
        controls: a value for each control of the path.
        frequency_hz: the other frequency, > 0.
    Returns:
        gain there over gain at the test frequency.
    Raises:
        UsageError: a control is missing or has a value that its stage cannot take.
    Source:
        one pole, textbook; closed forms in tests/law/test_response.py.
    """
    here = law.path.conditions
    arrays = {name: array_of(control, controls) for name, control in law.path.controls().items()}
    there = dataclasses.replace(here, frequency_hz=frequency_hz)
    ratio = float(law.path.gains_codes_per_v(arrays, there)) / float(law.path.gains_codes_per_v(arrays, here))
    if response is None:
        return ratio
    gain = math.prod(
        float(part.nominal_ratio * part.factor_ratio)
        for part in law.path.stage_gains(arrays, here)
        if part.stage.name in response.stages
    )
    per_hz = math.hypot(1.0 / response.bandwidth_hz, gain / response.gain_bandwidth_hz)
    return ratio * math.hypot(1.0, here.frequency_hz * per_hz) / math.hypot(1.0, frequency_hz * per_hz)
