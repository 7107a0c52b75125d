"""Entries for contacts and coupling: stretches of readings off by chance, or by the signal of another channel."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.view import View

FEWEST = 3
"""Stretches without which nothing scatters."""


def contact_hypotheses(view: View) -> Iterator[Hypothesis]:
    """What a contact that makes anew at each toggle would do, and what leaks from channels at rest.

    Args:
        view: of the channel, visits in order of recording.
    Returns:
        entries; the level of each stretch between two changes of range is taken from the readings.
    Source:
        signatures of single faults (common practice, no source).
    """
    stretch = np.cumsum(view.first_of_block) - 1
    count = int(stretch[-1]) + 1 if view.count else 0
    if count >= FEWEST and bool(view.known.any()):
        middle = float(np.median(view.off_percent[view.known]))
        levels = np.zeros(count)
        for number in range(count):
            mine = view.known & (stretch == number)
            levels[number] = float(np.median(view.off_percent[mine])) - middle if bool(mine.any()) else 0.0
        for fault, everywhere, prior in (("relay-contact-film", False, 0.0), ("fixture-worn", True, 1.0)):
            yield Hypothesis(
                fault=fault,
                what="a level of its own after each change of range",
                pattern_percent=levels[stretch],
                free=count,
                explains=frozenset({"toggle-scatter"}),
                everywhere=everywhere,
                prior=prior,
            )
    yield from _leak(view)


def _leak(view: View) -> Iterator[Hypothesis]:
    """Other channels rest at their least gain, on the same source: what leaks from them matters most at low gain."""
    gains = np.broadcast_to(np.asarray(view.law.path.gains_codes_per_v(view.arrays), dtype=np.float64), (view.count,))
    least = float(view.law.places[0][0].gain_codes_per_v)
    if view.law.channels > 1 and view.count:
        yield Hypothesis(
            fault="channel-crosstalk",
            what="of channels at rest",
            pattern_percent=least / gains,
            sized=True,
            unit="percent",
            explains=frozenset({"crosstalk"}),
            prior=0.5,
        )
        yield Hypothesis(
            fault="cables-swapped",
            what="the gain of a channel at rest",
            pattern_percent=100.0 * np.log(least / gains),
            everywhere=True,
        )
