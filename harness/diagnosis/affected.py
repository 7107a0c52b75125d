"""Which channels something is wrong with, and what their readings could show at all."""

from __future__ import annotations

from harness.diagnosis.catalogue import KNOWN, Sight
from harness.diagnosis.visit import Case

SIGHTS: dict[str, Sight] = {
    "word": Sight.WORDS,
    "bus-timing": Sight.BUS,
    "offset": Sight.OFFSET,
    "noise": Sight.NOISE,
    "crosstalk": Sight.CROSSTALK,
    "two-level": Sight.LEVELS,
    "polarity": Sight.POLARITY,
    "input-noise": Sight.NOISE,
    "clip-level": Sight.CLIP,
    "second-frequency": Sight.FREQUENCY,
    "toggle-scatter": Sight.REPEATS,
    "realness": Sight.REALNESS,
    "missing-codes": Sight.CONVERTER,
}
"""What a claim on an item makes visible."""


def affected_channels(case: Case) -> tuple[int, ...]:
    """Which channels do not meet their requirements.

    Args:
        case: the run.
    Returns:
        channels with a claim that is failed or undecided, in order.
    Source:
        none: a record.
    """
    return tuple(channel for channel in case.channels if case.failed.get(channel))


def not_exercised(case: Case) -> tuple[str, ...]:
    """Which known faults this run could not see, and what it would have to hold.

    Args:
        case: the run.
    Returns:
        one line per kind of reading that is missing, with the ids that need it.
    Source:
        practice: coverage is stated, silence is no pass.
    """
    claimed = {sight for item, sight in SIGHTS.items() if item in case.claimed}
    seen = {Sight.GAIN, Sight.LINK, Sight.HOST, *case.beside, *claimed}
    if not case.captured:
        seen -= {Sight.WORDS, Sight.BUS}
    if len(case.channels) > 1:
        seen.add(Sight.CHANNELS)
    if len({visit.setting.coarse for visit in case.visits}) > 1:
        seen.add(Sight.RANGES)
    settings = [visit.setting for visit in case.visits]
    if len(set(settings)) < len(settings):
        seen.add(Sight.BOTH_WAYS)
    missing: dict[Sight, list[str]] = {}
    for known in KNOWN.values():
        if known.sight not in seen:
            missing.setdefault(known.sight, []).append(f"{known.id} {known.name}")
    return tuple(f"{', '.join(names)}: needs {sight}" for sight, names in missing.items())
