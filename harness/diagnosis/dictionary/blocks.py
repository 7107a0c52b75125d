"""Entries of one factor on a block of settings: all of them, a position of a stage, a range, one setting."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from harness.diagnosis.catalogue import Sight
from harness.diagnosis.dictionary.relays import MOST_POSITIONS, PREGAIN
from harness.diagnosis.exact_factors import FACTORS, ExactFactor
from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.view import Flags, View

PERCENT = "percent"
WHOLE: tuple[tuple[str, float, bool], ...] = (
    ("load-resistor-wrong", 0.0, False),
    ("reference-wrong", 0.5, False),
    ("converter-reference-wrong", 1.5, False),
    ("external-feedback-resistor", 2.0, False),
    ("load-resistor-missing", 2.5, False),
    ("input-resistor-wrong", 2.8, False),
    ("calibration-of-another-unit", 3.0, False),
    ("temperature-compensation-missing", 3.2, False),
    ("source-load-mis-set", 1.0, True),
    ("reference-meter-drifted", 2.0, True),
    ("terminator-wrong", 2.5, True),
    ("pad-wrong", 3.0, True),
)
"""Faults of one factor on everything, what each costs beside the likeliest, whether all channels share it."""
FELT = 0.2
"""What the input's own resistor costs behind a source whose resistance makes it felt."""


def block_hypotheses(view: View) -> Iterator[Hypothesis]:
    """What one factor on a block would do.

    Args:
        view: of the channel.
    Returns:
        entries with a free size.
    Source:
        the law: ln G of a cascade is a sum.
    """
    yield from _whole(view)
    yield from _stages(view)
    yield from _ranges(view)
    yield from _rows(view)


def _sized(fault: str, what: str, mine: Flags, *, prior: float = 0.0) -> Hypothesis:
    return Hypothesis(
        fault=fault,
        what=what,
        pattern_percent=mine.astype(np.float64),
        sized=True,
        prior=prior,
        unit=PERCENT,
        explains=frozenset({"channel-match"}),
    )


def _whole(view: View) -> Iterator[Hypothesis]:
    everything = np.ones(view.count, dtype=np.bool_)
    felt = Sight.RESISTANCE in view.beside
    for fault, prior, everywhere in WHOLE:
        prior = FELT if felt and fault == "input-resistor-wrong" else prior
        yield replace(_sized(fault, "", everything, prior=prior), everywhere=everywhere)
    for row in FACTORS:
        for ratio, side in ((row.ratio, 0.0), (1.0 / row.ratio, 1.0)):
            yield from _exact(row, ratio, everything, side)


def _exact(row: ExactFactor, ratio: float, everything: Flags, side: float) -> Iterator[Hypothesis]:
    """A ratio of the table on everything: fixed, so that it goes before a factor of any size."""
    pattern_percent = np.asarray(everything * (100.0 * math.log(ratio)), dtype=np.float64)
    device = Hypothesis(fault=row.device_fault, what=f"×{ratio:.4g}", pattern_percent=pattern_percent, prior=side)
    if row.device_fault:
        yield device
    if row.station_fault:
        yield replace(device, fault=row.station_fault, everywhere=True, prior=0.5)


def _stages(view: View) -> Iterator[Hypothesis]:
    controls = view.law.path.controls()
    for stage in view.law.path.hardware():
        for name in (need.name for need in stage.law.needs()):
            values = view.arrays[name]
            if name == view.law.code_control or (not controls[name].named and stage.law.kind != PREGAIN):
                continue
            if stage.law.kind == PREGAIN:
                yield from _part(_sized("pregain-ratio-wrong", name, values == 1), view)
            elif len(controls[name].values) <= MOST_POSITIONS:
                for place, position in enumerate(controls[name].values):
                    yield from _part(_sized("attenuator-resistor-wrong", f"{name} {position}", values == place), view)


def _ranges(view: View) -> Iterator[Hypothesis]:
    for coarse in np.unique(view.coarse).tolist():
        name = view.law.coarse_names[coarse]
        yield from _part(_sized("calibration-of-another-unit", f"range {name}", view.coarse == coarse, prior=2.0), view)


def _rows(view: View) -> Iterator[Hypothesis]:
    """The one setting that is farthest from its neighbours."""
    known = view.known
    if int(known.sum()) < 4:
        return
    middle = float(np.median(view.off_percent[known]))
    place = int(np.nanargmax(np.abs(view.off_percent - middle)))
    coarse, fine = divmod(int(view.index[place]), len(view.law.fine_names))
    name = view.law.places[coarse][fine].name
    yield from _part(_sized("scale-row-wrong", f"row {name}", view.index == view.index[place]), view)


def _part(hypothesis: Hypothesis, view: View) -> Iterator[Hypothesis]:
    """Only where the block is neither empty nor everything."""
    if 0 < int(np.count_nonzero(hypothesis.pattern_percent)) < view.count:
        yield hypothesis
