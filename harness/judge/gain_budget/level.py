"""Contributions of the level at the device's input: source or meter, pad, loading, temperature."""

from __future__ import annotations

import math

import numpy as np

from harness.config import LevelAccuracy, Stated
from harness.judge.gain_budget.statement import Statement
from harness.judge.uncertainty import Contribution, Series, Shape, loading, pad, resolution, temperature
from harness.judge.uncertainty.checked import Floats


def stated_contribution(name: str, stated: Stated, *, common: bool) -> Contribution:
    """The contribution of a stated number.

    Args:
        name: for people.
        stated: limit or expanded uncertainty, percent.
        common: whether it is the same for all readings.
    Returns:
        the half width of a bounded distribution; of a normal one U/k.
    Raises:
        NotFinite: the number is negative or not finite.
    Source:
        JCGM 100:2008, 4.3.3 (expanded uncertainty of a certificate), 4.3.7 (limits).
    """
    shape = Shape(stated.distribution)
    value = stated.percent / (stated.factor or 2.0) if shape is Shape.NORMAL else stated.percent
    return Contribution(name=name, value_percent=value, shape=shape, dof=stated.dof or math.inf, common=common)


def level_of(statement: Statement, *, metered: bool) -> tuple[str, LevelAccuracy]:
    """Whose accuracy the level has.

    Args:
        statement: of bench and device.
        metered: whether all readings of the run have a level by the meter.
    Returns:
        the instrument, for people, and its accuracy: the meter's, else the source's.
    Source:
        none: a choice.
    """
    meter = statement.bench.meter
    return ("meter", meter) if metered and meter is not None else ("source", statement.bench.source)


def fixed_parts(statement: Statement, *, metered: bool) -> tuple[Contribution, ...]:
    """What is the same for all readings of a run.

    Args:
        statement: of bench and device.
        metered: whether all readings of the run have a level by the meter.
    Returns:
        reading of source or meter, its flatness, pad, loading, temperature; those that are stated. A meter reads the
        level behind the divider of source and load, so that their doubt falls away.
    Raises:
        NotFinite: a stated number is negative or not finite.
    Source:
        practice: most of the uncertainty of a gain is common to all settings and cancels in steps.
    """
    return parts_of(statement, *level_of(statement, metered=metered))


def parts_of(statement: Statement, name: str, level: LevelAccuracy) -> tuple[Contribution, ...]:
    """The same with the accuracy of the level given.

    Args:
        statement: of bench and device.
        name: the instrument that knows the level, for people; `meter` for one that stands behind source and load.
        level: its accuracy.
    Returns:
        as fixed_parts.
    Raises:
        NotFinite: a stated number is negative or not finite.
    Source:
        as fixed_parts.
    """
    bench, wiring = statement.bench, statement.wiring
    parts = [stated_contribution(f"{name}, reading", level.reading, common=True)]
    if level.flatness is not None:
        parts.append(stated_contribution(f"{name}, flatness", level.flatness, common=True))
    if bench.pad is not None:
        whole = pad(bench.pad.db, factor=bench.pad.factor)
        parts.append(
            Contribution(
                name="pad",
                value_percent=whole.value_percent,
                shape=whole.shape,
                dof=bench.pad.dof or math.inf,
                common=True,
            )
        )
    if bench.loading is not None and name != "meter":
        parts.append(
            loading(
                source_ohm=wiring.source_ohm,
                load_ohm=wiring.load_ohm,
                load_tolerance_percent=bench.loading.load_percent,
                source_tolerance_percent=bench.loading.source_percent,
            )
        )
    if bench.temperature_k and statement.device.temperature_ppm_per_k:
        parts.append(
            temperature(half_width_k=bench.temperature_k, coefficient_ppm_per_k=statement.device.temperature_ppm_per_k)
        )
    return tuple(parts)


def level_series(level: LevelAccuracy, name: str, level_vpk: Floats) -> tuple[Series, ...]:
    """What differs from level to level.

    Args:
        level: accuracy of the instrument.
        name: that instrument, for people.
        level_vpk: shape (n,), as the instrument knows it, V peak, > 0.
    Returns:
        part of each range, absolute part, last digit; those that are stated. Levels of one range share the error.
    Raises:
        NotFinite: a level is not positive and finite.
    Source:
        common practice, no source: data sheets state percent of reading, percent of range and volts.
    """
    ends = np.asarray(level.range_ends_vpk, dtype=np.float64)
    groups = np.searchsorted(ends, level_vpk * (1.0 - 1e-9)).astype(np.int64)
    parts: list[Series] = []
    if level.range is not None:
        stated = stated_contribution(f"{name}, range", level.range, common=False)
        # Above the last end nothing is known of the range but that the level is in it.
        full_vpk = np.maximum(np.append(ends, 0.0)[groups], level_vpk)
        share = full_vpk / level_vpk if level.range.of == "full-scale" else np.ones_like(level_vpk)
        parts.append(
            Series(
                name=stated.name,
                values_percent=stated.value_percent * share,
                shape=stated.shape,
                dof=stated.dof,
                groups=groups,
            )
        )
    if level.absolute_v > 0.0:
        half_width = 100.0 * level.absolute_v / level_vpk
        parts.append(
            Series(name=f"{name}, absolute", values_percent=half_width, shape=Shape.RECTANGULAR, groups=groups.copy())
        )
    if level.digits is not None:
        step_v = 10.0 ** (np.floor(np.log10(level_vpk) + 1e-9) - level.digits + 1.0)
        parts.append(resolution(f"{name}, last digit", level_vpk, step_v=step_v))
    return tuple(parts)
