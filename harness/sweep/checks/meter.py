"""Is the reference meter right? Beyond what source and meter state, one of the two is wrong: the unit tells which."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from harness.errors import StationFault
from harness.sweep.checks.gentle import Gentle, percent
from harness.values import Rung

TIMES = 2.0
"""So much nearer to the law must all gains be by the source's own levels."""


def check_meter(gentle: Gentle, found: Mapping[str, float | None], middles: Sequence[Rung]) -> None:
    """Hold the meter against the source, at the levels of the readings that were just taken.

    `found` are gains over prediction by the meter, by label. StationFault when source and meter differ by more than
    both state and every channel is nearer to the law by the source: source and unit then agree against the meter. A
    source that is wrong does no harm: gains rest on the meter, and the judge flags it.
    """
    allowed_percent = gentle.plan.agreement_percent
    if allowed_percent is None:
        return
    differs_percent = 0.0
    for rung in middles:
        label = rung.prediction.label
        by_meter, meter_ratio = found[label], gentle.meter_ratio.get(label)
        if by_meter is None or meter_ratio is None:
            return
        differs_percent = percent(meter_ratio)
        by_source_percent = percent(by_meter * meter_ratio)
        if abs(differs_percent) <= allowed_percent or TIMES * abs(by_source_percent) > abs(percent(by_meter)):
            return
    raise StationFault(
        f"the meter is {differs_percent:+.2g} % off what the source claims, allowed by what both state is "
        f"{allowed_percent:.2g} %, and all channels meet the law by the source, not by the meter: send the meter to be "
        "calibrated, or take the golden unit to tell; measure with another meter, or without one, until then",
        fault="reference-meter-drifted",
    )
