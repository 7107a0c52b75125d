"""The constants that the firmware seems to compute with: simple ratios, and the scale that makes its words come out.

A unit deviates from its design by tenths of a percent, and that is enough to move the nearest code. What the firmware
was written with shows in the words it sends: each word allows the scale a small interval, all of them a tiny one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from harness.learn.explain import Explained, Shape
from harness.learn.explain.shapes import Floats
from harness.learn.write.parts import CODE, LN_PER_DB, UNSEEN, StagePart, Value, digits, outside_bits, state_name

SIMPLE_RATIO = 0.006
"""A measured ratio this near to a simple one was meant to be that one."""
SIMPLE = sorted({a / b for a in range(1, 33) for b in (1, 2, 4, 5)} | {10.0**k for k in range(-4, 5)} | {64.0, 128.0})
SIMPLE_SLOPES_DB = (0.01, 0.02, 0.025, 0.05, 0.1, 0.125, 0.2, 0.25, 0.375, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 6.0)

SCALE_KEYS = {
    Shape.LINEAR_CODE: "gain_per_code",
    Shape.MDAC_FEEDBACK: "feedback_ratio",
    Shape.LINEAR_IN_DB: "intercept_db",
}


def simple(ratio: float) -> float:
    """The simple ratio that a measured one was meant to be.

    Args:
        ratio: > 0.
    Returns:
        a small fraction, its inverse or a power of ten within SIMPLE_RATIO; else the ratio.
    Source:
        common practice: designers choose simple ratios.
    """
    near = [one for value in SIMPLE for one in (value, 1.0 / value) if abs(math.log(one / ratio)) < SIMPLE_RATIO]
    return min(near, key=lambda one: abs(math.log(one / ratio))) if near else ratio


def designed_stages(
    stages: Sequence[StagePart],
    explained: Explained,
    named: Mapping[tuple[int, int], float],
    *,
    rule: str,
    codes_per_v: float,
) -> tuple[StagePart, ...] | None:
    """The same stages with the constants that the firmware's words speak for.

    Args:
        stages: as measured.
        explained: with a law and words.
        named: gain that each coarse and fine position is named after, codes a volt.
        rule: nearest-code or floor.
        codes_per_v: of the converter.
    Returns:
        the stages; None where names or words say nothing.
    Source:
        intersection of the intervals that each word allows.
    """
    law = explained.law
    if law is None or not named or law.hypothesis.shape not in SCALE_KEYS:
        return None
    shape = law.hypothesis.shape
    slope = _slope(float(law.shape_weights[0])) if shape is Shape.LINEAR_IN_DB else 0.0
    ideal = [_ideal(stage) for stage in stages[:-1]]
    logs = _wanted(explained, named, ideal) - math.log(codes_per_v)
    codes = law.hypothesis.field.codes(explained.seen.bits).astype(np.float64)
    known = np.isfinite(logs)
    if not known.any():
        return None
    low, high = (_follows(shape, codes[known] + side, slope) for side in _sides(rule, shape, slope))
    scale = _most_overlap(logs[known] - high, logs[known] - low)
    return (*ideal, _scaled(stages[-1], shape, scale, slope))


def _ideal(stage: StagePart) -> StagePart:
    keys: dict[str, Value] = dict(stage.keys)
    if isinstance(ratio := keys.get("ratio"), float):
        keys["ratio"] = digits(simple(ratio))
    if isinstance(ratios := keys.get("ratios"), dict):
        keys["ratios"] = {name: digits(simple(float(gain))) for name, gain in ratios.items()}  # type: ignore[arg-type]
    moved = [
        f"the file takes the simple {key} that this was meant to be"
        for key in ("ratio", "ratios") if keys.get(key) != stage.keys.get(key)
    ]  # fmt: skip
    return replace(stage, keys=keys, notes=(*stage.notes, *moved))


def _slope(slope: float) -> float:
    """ln for each code, of a simple number of dB where it is near one."""
    slope_db = slope / LN_PER_DB
    near = [one for one in SIMPLE_SLOPES_DB if abs(abs(slope_db) / one - 1.0) < SIMPLE_RATIO]
    return math.copysign(near[0], slope_db) * LN_PER_DB if near else slope


def _wanted(explained: Explained, named: Mapping[tuple[int, int], float], ideal: Sequence[StagePart]) -> Floats:
    """ln of the gain that each setting asks of the number, shape (n,); NaN where names say nothing."""
    found = np.full(len(explained.seen.settings), math.nan)
    bits = {name: place for place, name in outside_bits(explained).items()}
    for row, (setting, part) in enumerate(zip(explained.seen.settings, explained.parts, strict=True)):
        gain = named.get((setting.coarse, setting.fine))
        if gain is None:
            continue
        log = math.log(gain) - (0.0 if explained.mixed else math.log(part.ratio))
        for stage in ideal:
            control, ratio, ratios = (stage.keys.get(key) for key in ("control", "ratio", "ratios"))
            if isinstance(ratios, dict) and control == UNSEEN and explained.states is not None:
                log -= math.log(float(ratios[state_name(explained.states.state_of.get(setting.coarse, 0))]))  # type: ignore[arg-type]
            elif isinstance(ratio, float) and explained.seen.bits[row, bits[str(control)]]:
                log -= math.log(ratio)
        found[row] = log
    return found


def _follows(shape: Shape, codes: Floats, slope: float) -> Floats:
    """ln gain of a code that need not be whole."""
    if shape is Shape.LINEAR_IN_DB:
        return codes * slope
    logs = np.log(np.maximum(codes, 0.25))
    return logs if shape is Shape.LINEAR_CODE else -logs


def _sides(rule: str, shape: Shape, slope: float) -> tuple[float, float]:
    """How far the exact code may lie from the one that is sent, least gain first."""
    falling = shape is Shape.MDAC_FEEDBACK or slope < 0.0
    if rule == "floor":
        return (0.0, -1.0) if falling else (0.0, 1.0)
    return (0.5, -0.5) if falling else (-0.5, 0.5)


def _most_overlap(starts: Floats, ends: Floats) -> float:
    """The middle of where most intervals overlap."""
    points = np.sort(np.concatenate((starts, ends)))
    middles = (points[1:] + points[:-1]) / 2.0
    counts = np.searchsorted(np.sort(starts), middles, side="right") - np.searchsorted(np.sort(ends), middles)
    best = np.flatnonzero(counts == counts.max())
    return float((points[best[0]] + points[best[-1] + 1]) / 2.0) if best.size < 3 else float(middles[best].mean())


def _scaled(stage: StagePart, shape: Shape, scale: float, slope: float) -> StagePart:
    key = SCALE_KEYS[shape]
    keys: dict[str, Value] = dict(stage.keys)
    measured = keys[key]
    bits = keys["bits"] if isinstance(keys["bits"], int) else 0
    match shape:
        case Shape.LINEAR_IN_DB:
            keys[key], keys["slope_db_per_code"] = digits(scale / LN_PER_DB), digits(slope / LN_PER_DB)
        case Shape.MDAC_FEEDBACK:
            keys[key] = digits(math.exp(scale) / 2.0**bits)
        case _:
            keys[key] = digits(math.exp(scale))
    note = f"{key} is the one that the words of {CODE} speak for; this unit measures {measured}"
    return replace(stage, keys=keys, notes=(*stage.notes, note))
