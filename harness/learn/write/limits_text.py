"""A proposal of limits from what is left of the gains."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator

import numpy as np

from harness.learn.explain import Explained
from harness.learn.write.correction_keys import told_corrections
from harness.learn.write.number_part import first_levels
from harness.learn.write.toml import shown

WIDER = 4.0
"""Limits are this many standard deviations of what is left, and never tighter than LEAST_PERCENT."""
MOST_WIDER = 1.5
"""Nor tighter than the largest of it by this factor."""
LEAST_PERCENT = {"gain": 2.0, "residual": 0.3, "fine-step": 0.3, "coarse-step": 0.6}
"""Of a unit that nobody has a second one of."""
GUARD = 0.1


def limits_text(explained: Explained, *, name: str, date: datetime.date, owner: str, made_by: str) -> str:
    """A limits file to begin with: one unit does not show how units differ.

    Args:
        explained: with a law.
        name: of the device.
        date: of the file.
        owner: who learned it.
        made_by: program and what it learned from, for the first line.
    Returns:
        TOML; the rows say which number they come from.
    Source:
        none: a proposal.
    """
    left = explained.law.residuals if explained.law is not None else np.zeros(1)
    most_percent = 100.0 * MOST_WIDER * float(np.abs(left).max())
    scatter_percent = 100.0 * explained.law.scatter_ratio if explained.law is not None else 0.0
    channels_percent = 100.0 * _between_channels(explained)
    told = list(told_corrections(explained))
    lines = [
        f"# {made_by}",
        "# A proposal from one unit: it shows what the law leaves of a gain, not how units differ. Widen it by the",
        "# tolerances of the parts before it judges anybody.",
        *(f"# Of the law: {one.text} ({one.sure})." for one in told),
        'kind = "limits"', "version = 1", f"name = {shown(name + ', proposed limits')}", 'rule = "guarded"',
        "", "[[change]]", "version = 1", f"date = {date.isoformat()}", f"owner = {shown(owner)}", 'reason = "proposed"',
    ]  # fmt: skip
    corrections_percent = math.hypot(*(one.u_percent for one in told))
    own = math.hypot(max(WIDER * scatter_percent, most_percent), WIDER * corrections_percent)
    most = f"{most_percent / MOST_WIDER:.2g} % at most"
    scatter = f"the law leaves {scatter_percent:.2g} % rms of this unit's gains, {most}"
    scatter += f"; its corrections are uncertain by {corrections_percent:.2g} %" if told else ""
    numbers = {
        "gain": (own + WIDER * channels_percent, f"{scatter}; channels differ by {channels_percent:.2g} % rms"),
        "residual": (own, scatter),
        "fine-step": (2.0 * own, f"{scatter}; a step has two of them"),
        "coarse-step": (2.0 * own, f"{scatter}; ranges of the source are in it"),
    }
    for item, (percent, reason) in numbers.items():
        lines += list(_row(item, max(percent, LEAST_PERCENT[item]), reason, date=date, owner=owner))
    items = {"monotonic": "steps go one way"}
    if explained.by_words:
        # Without words the waveform alone decides, and of many settings it can tell nothing.
        items |= {"realness": "what the device file declares", "word": "the words that were seen"}
    for item, reason in items.items():
        lines += list(_row(item, None, reason, date=date, owner=owner))
    return "\n".join(lines) + "\n"


def _row(item: str, percent: float | None, reason: str, *, date: datetime.date, owner: str) -> Iterator[str]:
    yield from ("", "[[limit]]", f"item = {shown(item)}")
    if percent is not None:
        half = math.ceil(percent * 20.0) / 20.0
        yield from (f"low = {-half!r}", f"high = {half!r}", f"guard = {round(GUARD * half, 4)!r}", 'unit = "percent"')
    yield from (f"owner = {shown(owner)}", f"reason = {shown(reason)}", "version = 1", f"date = {date.isoformat()}")


def _between_channels(explained: Explained) -> float:
    """Standard deviation of the channels' own scales, as ln."""
    scales = [] if explained.law is None else list(first_levels(explained, explained.law).values())
    return float(np.std(scales, ddof=1)) if len(scales) > 1 else 0.0
