"""The likeliest explanations, simplest first, each with the test that would tell it from the others."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.diagnosis.exact_factors import match_factor
from harness.diagnosis.observation import Observation
from harness.diagnosis.patterns import of_channel
from harness.values import Candidate

COMMON_SPREAD_PERCENT = 3.0
"""Residuals of all settings that lie this close together share one factor; healthy ones spread by 1 to 2 %."""
COMMON_PERCENT = 2.0
"""A common factor nearer to 1 than this is none."""
MOST = 3
"""Candidates shown."""
DEVICE_PROVEN = "noise moved with the gain"
"""Words of the self-check when the device's own noise shows that the device is what changed."""
DEVICE_TESTS = {
    "load-resistor-missing": "add an outside load of 1 kΩ: the gain then falls; output clip level",
    "relay-not-picking": "coil current of each relay; a range that needs other relays",
    "relay-drivers-swapped": "coil current of each relay; a range that needs other relays",
}
"""What tells a fault of the device from one of the station."""


def candidates(
    observations: Sequence[Observation], *, code_control: str, notes: Sequence[str] = ()
) -> tuple[Candidate, ...]:
    """What would explain the run.

    Args:
        observations: every setting that was read.
        code_control: name of the control that holds the fine code.
        notes: the journal's texts; the self-check says there whether the device's own noise moved with the factor.
    Returns:
        at most three candidates, the likeliest first; none for a healthy run. Faults that the run cannot tell apart
        stand side by side.
    Source:
        classifier recipe (common practice, no source): station factors first, then words, then gain patterns.
    """
    common = _common_factor(observations)
    channels = sorted({o.setting.channel for o in observations})
    if common is not None:
        return _whole_run(common, several=len(channels) > 1, notes=notes)
    found: dict[str, Candidate] = {}
    for channel in channels:
        own = [o for o in observations if o.setting.channel == channel]
        for candidate in of_channel(own, code_control=code_control):
            known = found.get(candidate.fault)
            why = f"{known.why}; {candidate.why}" if known else candidate.why
            found[candidate.fault] = Candidate(fault=candidate.fault, why=why, test=candidate.test)
    return tuple(found.values())[:MOST]


def _common_factor(observations: Sequence[Observation]) -> float | None:
    values = [o.residual_percent for o in observations if o.residual_percent is not None]
    if len(values) < 3 or max(values) - min(values) > COMMON_SPREAD_PERCENT:
        return None
    ratio = math.exp(sum(values) / len(values) / 100.0)
    return ratio if abs(100.0 * math.log(ratio)) > COMMON_PERCENT else None


def _whole_run(ratio: float, *, several: bool, notes: Sequence[str]) -> tuple[Candidate, ...]:
    where = "all settings of all channels" if several else "all settings of the one channel tested"
    seen = f"{where} are off by ×{ratio:.4g}"
    factor = next(iter(match_factor(ratio)), None)
    if factor is None:
        return (
            Candidate(fault="load-resistor-wrong", why=seen, test="another unit on this station; another station"),
            Candidate(fault="reference-wrong", why=seen, test="another unit on this station; golden unit"),
        )
    proven = any(DEVICE_PROVEN in text for text in notes)
    found: list[Candidate] = []
    if factor.device_fault:
        why = seen + ("; the device's own noise moved with it" if proven else "")
        found.append(Candidate(fault=factor.device_fault, why=why, test=DEVICE_TESTS[factor.device_fault]))
    if factor.station_fault:
        why = f"{seen}: {factor.cause}"
        test = "a meter at the device's input; another unit on this station"
        found.append(Candidate(fault=factor.station_fault, why=why, test=test))
    # A load resistor that is missing can only raise the gain.
    return tuple(found if proven or ratio > 1.0 else found[::-1])
