"""Entries that depend on the order of readings: late, slow, drifting, lost for a while, single events."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.view import Floats, View

CLEAR_PERCENT = 1.0
"""A reading that differs from the other one of its setting by more than this is an event."""
MOST_EVENTS = 3
LEAST_WAY_PERCENT = -300.0
"""More of a way than this has no logarithm worth having."""
COARSE_DECADES = (1.0, 0.8, 0.6)
"""A change of range is waited for up to ten times as long as a fine step; what commands take counts for both."""
FIRST_DECADES = 2.0
"""Before the first reading of a channel the setting has stood for long: about a hundred times as long again."""
LOOSE_DECADES = 0.15
"""What the source needs for its own ranges, and a command for its way, count for the wait and differ."""
FAR_PERCENT = 50.0
"""An event beyond this is an open joint, below a bit."""


def order_hypotheses(view: View) -> Iterator[Hypothesis]:
    """What faults of time would do.

    Args:
        view: of the channel, visits in order of recording.
    Returns:
        entries with a free size, or one free size per event.
    Source:
        signatures of single faults (common practice, no source).
    """
    yield from _after_relay(view)
    yield from _lagging(view)
    yield from _drift(view)
    yield from _events(view)


def _sized(fault: str, what: str, pattern_percent: Floats, *, prior: float = 0.0) -> Hypothesis:
    return Hypothesis(
        fault=fault,
        what=what,
        pattern_percent=pattern_percent,
        sized=True,
        prior=prior,
        unit="percent",
        explains=frozenset({"toggle-scatter"}),
    )


def _after_relay(view: View) -> Iterator[Hypothesis]:
    """Part of the way of the relays is still to go at the first reading after they have moved.

    Where the first reading of a channel came from is not in the record: nowhere, or any of its ranges.
    """
    named = [name for name, control in view.law.path.controls().items() if control.named]
    states = []
    if named and view.count:
        states = np.unique(np.stack([view.arrays[name] for name in named]), axis=1).T.tolist()
    ways = [_way(view, named, None), *(_way(view, named, state) for state in states)]
    first = view.first_of_block.astype(np.float64)
    first[:1] = 0.0
    patterns = [*((way, "after a relay", 0.0) for way in ways), (first, "first reading in each range", 1.0)]
    for pattern_percent, what, prior in patterns:
        if np.any(pattern_percent != 0.0):
            yield _late("relay-settles-late", what, pattern_percent, prior)
            yield replace(_late("settle-too-short", what, pattern_percent, prior + 1.0), everywhere=True)


def _late(fault: str, what: str, pattern_percent: Floats, prior: float) -> Hypothesis:
    """A record that begins while something settles is no pure sine: that counts as noise."""
    found = _sized(fault, what, pattern_percent, prior=prior)
    return replace(found, explains=found.explains | {"noise"})


def _way(view: View, named: list[str], start: list[int] | None) -> Floats:
    """The way of the relays to each reading, as a share of its gain; to the first one from a state, or none."""
    moved = dict(view.arrays)
    for place, name in enumerate(named):
        here = view.arrays[name]
        before = here[:1] if start is None else np.asarray([start[place]], dtype=here.dtype)
        moved[name] = np.concatenate((before[: here.size], here[:-1]))
    way: Floats = np.exp(np.maximum(view.log_gains_percent(moved), LEAST_WAY_PERCENT) / 100.0) - 1.0
    return way


def _lagging(view: View) -> Iterator[Hypothesis]:
    """Part of the way from the gain before is still to go; or the gain creeps with the logarithm of the wait."""
    if view.count < 3:
        return
    gains = np.asarray(view.law.path.gains_codes_per_v(view.arrays), dtype=np.float64)
    before = np.concatenate((gains[:1], gains[:-1]))
    within = np.where(view.first_of_block, 0.0, before / gains - 1.0)
    if np.any(within != 0.0):
        yield _sized("slow-settling", "share of the step before", within)
        yield _sized("slow-settling", "up against down", np.sign(within), prior=1.0)
    # Where the ladder turns, nothing moves: the setting has stood for the record before.
    stood = view.first_of_block | np.concatenate(([False], view.index[1:] == view.index[:-1]))
    for decades in COARSE_DECADES:
        waits = stood.astype(np.float64) * decades
        waits[:1] = decades + FIRST_DECADES
        yield replace(_sized("slow-settling", "for each decade of waiting", waits), loose_ratio=LOOSE_DECADES)


def _drift(view: View) -> Iterator[Hypothesis]:
    if view.count < 4:
        return
    ramp = np.linspace(-0.5, 0.5, view.count)
    for fault, prior in (("reference-wrong", 1.0), ("temperature-compensation-missing", 2.0)):
        yield _sized(fault, "drift in the run", ramp, prior=prior)


def _events(view: View) -> Iterator[Hypothesis]:
    """Readings that differ from the other one of the same setting; and a stretch of them."""
    known = np.flatnonzero(view.known)
    if known.size < 4:
        return
    off_percent = view.off_percent - float(np.median(view.off_percent[known]))
    wrong = np.zeros(view.count, dtype=np.bool_)
    for place in known:
        same = known[(view.index[known] == view.index[place]) & (known != place)]
        if same.size and abs(off_percent[place] - np.median(off_percent[same])) > CLEAR_PERCENT:
            wrong[place] = abs(off_percent[place]) > np.min(np.abs(off_percent[same]))
    events = np.flatnonzero(wrong)
    if not 0 < events.size <= max(MOST_EVENTS, view.count // 20):
        return
    pattern_percent = np.where(wrong, off_percent, 0.0)
    far = bool(np.any(np.abs(pattern_percent) > FAR_PERCENT))
    names = ", ".join(_name(view, int(place)) for place in events[:MOST_EVENTS])
    plans = (
        ("intermittent-joint", 0.0 if far else 3.0, ("steady",)),
        ("register-reset-mid-run", 1.0, ("steady",)),
        ("extra-clock-edge", 4.0, ("bus-timing", "long-frame")),
        ("setup-hold-marginal", 1.0 if not far else 2.0, ("bus-timing",)),
        ("logic-level-weak", 1.5 if not far else 2.5, ("bus-timing",)),
    )
    for fault, prior, items in plans:
        yield Hypothesis(
            fault=fault,
            what=f"once at {names}",
            pattern_percent=pattern_percent,
            free=int(events.size),
            prior=prior,
            explains=frozenset({"toggle-scatter", *items}),
        )


def _name(view: View, place: int) -> str:
    coarse, fine = divmod(int(view.index[place]), len(view.law.fine_names))
    return view.law.places[coarse][fine].name
