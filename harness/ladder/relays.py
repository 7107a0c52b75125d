"""Which relays move on the way from one setting to the next."""

from __future__ import annotations

from collections.abc import Iterable

from harness.law import GainLaw
from harness.values import Prediction, Setting


def toggles(law: GainLaw, predictions: Iterable[Prediction]) -> tuple[frozenset[str], ...]:
    """Which relays change, setting by setting.

    Args:
        law: knows the relays of each state.
        predictions: in order of the visits; channels may alternate, each has relays of its own.
    Returns:
        names of the relays that change on the way to each setting; to the first one of a channel the way leads from
        the least sensitive setting, which a device is prepared with.
    """
    held: dict[int, frozenset[str]] = {}
    found: list[frozenset[str]] = []
    for prediction in predictions:
        channel = prediction.setting.channel
        if channel not in held:
            held[channel] = law.relays_of(dict(law.predict(Setting(channel, 0, 0)).state.controls))
        wanted = law.relays_of(dict(prediction.state.controls))
        found.append(held[channel] ^ wanted)
        held[channel] = wanted
    return tuple(found)
