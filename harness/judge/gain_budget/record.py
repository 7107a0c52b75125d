"""Contributions of the records: noise, rounding, non-linearity, repeatability."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from harness.config import Stated
from harness.judge.gain_budget.level import stated_contribution
from harness.judge.gain_budget.reduced import Reduced
from harness.judge.uncertainty import (
    Contribution,
    Series,
    Shape,
    fit_noise,
    noise_before_rounding_code,
    nonlinearity,
    repeatability,
    rounding,
)
from harness.judge.uncertainty.checked import Floats

OUTLIER = 6.0
"""Robust standard deviations: a setting whose two ways differ by more has a cause of its own."""
NORMAL_MEDIAN = 0.6745
"""Median of the magnitude of a standard normal."""


def record_series(
    items: Sequence[Reduced], *, inl_code: float, compression_percent: float, span_code: float
) -> tuple[Series, ...]:
    """What the records themselves leave open.

    Args:
        items: n settings.
        inl_code: largest departure from a straight line, code steps, >= 0.
        compression_percent: most that the gain is off at full scale against small signals, >= 0.
        span_code: from rail to rail of the converter, > 0.
    Returns:
        fit noise, rounding (it counts where the noise is low), non-linearity and compression where they are stated;
        shape (n,) each. Compression is one curve: readings share its error as far as their levels are alike.
    Raises:
        NotFinite: an amplitude or a residual is out of bounds.
    Source:
        as fit_noise, rounding and nonlinearity of judge.uncertainty; the fundamental of x - k·x³ falls by 3/4·k·x².
    """
    amplitude = np.array([item.amplitude_code for item in items])
    noise = noise_before_rounding_code(np.array([item.residual_code for item in items]))
    shapes = [(item.samples, item.readings) for item in items]
    values, dof = np.empty(len(items)), np.empty(len(items))
    for samples, readings in sorted(set(shapes)):
        places = np.flatnonzero([shape == (samples, readings) for shape in shapes])
        part = fit_noise(amplitude[places], noise_code=noise[places], samples=samples, readings=readings)
        values[places], dof[places] = part.values_percent, part.dof
    series = [
        Series(name="fit noise", values_percent=values, shape=Shape.NORMAL, dof=dof),
        rounding(amplitude, noise_code=noise),
    ]
    if inl_code > 0.0:
        series.append(nonlinearity(amplitude, inl_code=inl_code))
    if compression_percent > 0.0:
        loss = compression_percent * (2.0 * amplitude / span_code) ** 2
        curve = np.zeros(len(items), dtype=np.int64)
        series.append(Series(name="compression", values_percent=loss, shape=Shape.RECTANGULAR, groups=curve))
    return tuple(series)


def repeat_series(items: Sequence[Reduced], floor: Stated | None) -> tuple[Series | None, str]:
    """How well settings repeat: what is stated, or what their channel shows where that is more.

    Args:
        items: n settings.
        floor: the device's own statement.
    Returns:
        shape (n,), and a note that says which it is; None where nothing is stated and no setting was read both ways. A
        channel without a setting read both ways has what is stated, or without that what all the others show.
    Raises:
        NotFinite: a difference is not finite.
    Source:
        pooled variance of duplicates (JCGM 100:2008, 4.2.4) over the settings of a channel whose ways differ as the
        others' do. One that differs by more has a cause of its own, which must widen neither the budget of the others
        nor its own: a fault is not excused by the scatter that it makes. Nor does a channel that scatters leave the
        other channels in doubt.
    """
    stated = stated_contribution("repeatability", floor, common=False) if floor is not None else None
    pooled = {channel: _pooled(own) for channel, own in _by_channel(items).items()}
    every = _pooled(items)
    if every is None and stated is None:
        return None, "no repeatability: none is stated and no setting was read both ways"
    least = stated.standard_percent if stated else 0.0
    values, dof = np.full(len(items), least), np.full(len(items), stated.dof if stated else math.inf)
    said: dict[int, int] = {}
    for place, item in enumerate(items):
        single = pooled[item.setting.channel] or (None if stated else every)
        percent = single.standard_percent / math.sqrt(item.readings) if single else 0.0
        if single is not None and percent > least:
            values[place], dof[place] = percent, single.dof
            said[item.setting.channel] = int(single.dof)
    note = f"repeatability as stated, {least:.3g} %" if stated else ""
    if said:
        shown = ", ".join(f"channel {channel} over {count}" for channel, count in said.items())
        note = f"repeatability of a reading pooled over settings read both ways: {shown}"
    return Series(name="repeatability", values_percent=values, shape=Shape.NORMAL, dof=dof), note


def _by_channel(items: Sequence[Reduced]) -> dict[int, list[Reduced]]:
    found: dict[int, list[Reduced]] = {}
    for item in items:
        found.setdefault(item.setting.channel, []).append(item)
    return found


def _pooled(items: Sequence[Reduced]) -> Contribution | None:
    """Of one reading; None without a setting that was read both ways."""
    seen = [item.up_down_percent for item in items if item.up_down_percent is not None]
    if not seen:
        return None
    limit = OUTLIER * float(np.median(np.abs(seen))) / NORMAL_MEDIAN
    # A difference that is no number must be met, not dropped.
    return repeatability(np.array([value for value in seen if not abs(value) > limit]), readings=1)


def levels_vpk(items: Sequence[Reduced]) -> Floats:
    """At which levels settings were read.

    Args:
        items: n settings.
    Returns:
        shape (n,), V peak.
    Source:
        none: a record.
    """
    return np.array([item.level_vpk for item in items], dtype=np.float64)
