"""Entries that leave the gain alone: words, noise, offset, the bus, the extra readings show them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from harness.diagnosis.catalogue import Sight
from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.regular_gaps import REGULAR_GAPS
from harness.diagnosis.view import View
from harness.values import Setting

SHOWN_BY: Final[tuple[tuple[str, tuple[str, ...], float], ...]] = (
    ("setup-hold-marginal", ("bus-timing",), 0.0),
    ("logic-level-weak", ("bus-timing",), 0.5),
    ("latch-transparent", ("bus-timing", "short-frame", "re-latch", "clock-under-latch"), 1.0),
    ("extra-clock-edge", ("bus-timing", "long-frame"), 1.5),
    ("chain-wrong-device", ("bus-timing", "long-frame"), 2.0),
    ("latch-broadcast", ("bus-timing", "broadcast"), 1.5),
    ("input-offset", ("offset",), 0.0),
    ("output-offset", ("offset",), 0.5),
    ("excess-noise", ("noise", "input-noise"), 0.0),
    ("mains-or-supply-line", ("noise", "input-noise"), 0.5),
    ("oscillation", ("noise", "input-noise"), 1.0),
    ("attenuator-compensation-wrong", ("second-frequency",), 0.0),
    ("bandwidth-falls-with-gain", ("second-frequency",), 0.5),
    ("coupling-capacitor-wrong", ("second-frequency",), 2.0),
    ("relay-contact-film", ("toggle-scatter",), 0.0),
    ("fixture-worn", ("toggle-scatter",), 1.0),
    ("channel-crosstalk", ("crosstalk",), 0.0),
    ("converter-missing-codes", ("missing-codes",), 0.0),
    ("intermittent-joint", ("steady",), 0.0),
    ("relay-contact-film", ("steady",), 2.0),
    ("register-reset-mid-run", ("steady",), 3.0),
    ("scale-row-wrong", ("scale",), 0.0),
    ("calibration-of-another-unit", ("scale",), 0.5),
    ("scale-not-updated", ("scale",), 1.0),
    ("preamble-stale", ("scale",), 2.0),
)
"""Fault, the items of claims that it makes fail, and its prior among those of one item."""
LOW: Final = ("coupling-capacitor-wrong", ("second-frequency",), 0.0)
"""The same where the second frequency is a low one."""
BENT: Final[tuple[tuple[str, tuple[str, ...], tuple[str, ...], float], ...]] = (
    ("output-compression", ("two-level",), ("noise",), 0.0),
    ("leaky-clamp", ("polarity",), ("two-level", "noise"), 0.0),
    ("leaky-clamp", ("two-level",), ("noise",), 1.0),
    ("supply-rail-low", ("clip-level", "two-level", "polarity"), ("noise",), 0.5),
    ("output-compression", ("clip-level",), ("two-level", "noise"), 2.0),
    ("excess-noise", ("noise", "input-noise"), ("two-level", "polarity"), 3.0),
    ("mains-or-supply-line", ("noise", "input-noise"), ("two-level", "polarity"), 3.5),
    ("oscillation", ("noise", "input-noise"), ("two-level", "polarity"), 4.0),
)
"""What bends a sine, or swamps it: fault, items of which one must fail, those that fail besides, and its prior."""
LOST_BITS: Final = frozenset({REGULAR_GAPS, "missing-codes", "noise", "input-noise", "realness"})
"""What low bits that never change make fail: samples are rounded so much more coarsely."""


def unchanged_hypotheses(view: View) -> Iterator[Hypothesis]:
    """What faults without a pattern in the gain would do.

    Args:
        view: of the channel.
    Returns:
        entries with no pattern, told apart by what they explain.
    Source:
        signatures of single faults (common practice, no source).
    """
    still = np.zeros(view.count)
    # Of those that come equally near the first one is named first.
    low = (LOW,) if Sight.LOW_FREQUENCY in view.beside else ()
    for fault, items, prior in (*low, *SHOWN_BY):
        shown = frozenset(items)
        yield Hypothesis(fault=fault, what="", pattern_percent=still, explains=shown, needs=shown, prior=prior)
    for fault, items, besides, prior in BENT:
        needs = frozenset(items)
        yield Hypothesis(
            fault=fault, what="", pattern_percent=still, explains=needs | set(besides), needs=needs, prior=prior
        )
    yield Hypothesis(
        fault="converter-bits-lost", what="", pattern_percent=still, explains=LOST_BITS, needs=frozenset({REGULAR_GAPS})
    )
    yield from _arithmetic(view)


def _arithmetic(view: View) -> Iterator[Hypothesis]:
    """Codes multiplied by the nominal ratio, which no code meets exactly; or by what the code would have given."""
    first, real = _first_words(view), frozenset({"realness"})
    nominal = _nominal_percent(view)
    for pattern_percent, what in ((nominal, "nominal ratios"), (np.zeros(view.count), "ratios of the codes")):
        for latched in (None, first) if first is not None else (None,):
            yield Hypothesis(
                fault="fine-gain-arithmetic",
                what=f"{what}{'' if latched is None else ', one word throughout each range'}",
                pattern_percent=pattern_percent,
                latched=latched,
                explains=real,
                needs=real,
            )


def _nominal_percent(view: View) -> np.ndarray:
    """100·ln of the gain by the hardware of the least fine position and the nominal ratio, over the planned gain."""
    found = []
    for coarse, fine in zip(view.coarse.tolist(), view.fine.tolist(), strict=True):
        here, first = view.law.places[coarse][fine], view.law.places[coarse][0]
        nominal = first.gain_codes_per_v * first.full_scale_vpp / here.full_scale_vpp
        found.append(100.0 * math.log(nominal / here.gain_codes_per_v))
    return np.asarray(found, dtype=np.float64)


def _first_words(view: View) -> np.ndarray | None:
    """The word of the least fine position in place of each; None without words."""
    if view.word_bits == 0 or not bool(view.heard.any()):
        return None
    ranges = np.unique(view.coarse).tolist()
    first = {coarse: view.law.predict(Setting(view.channel, coarse, 0)).state.word.value for coarse in ranges}
    return np.asarray([first[int(coarse)] for coarse in view.coarse], dtype=np.int64)
