"""What a short ladder must hold whatever the dictionary says: ranges, relays, bits, the major carry, the ends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from harness.diagnosis.view import Flags
from harness.law import GainLaw
from harness.values import Setting


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Must:
    """Some settings, of which so many are to be visited."""

    what: str
    """For people."""
    places: Flags
    """Shape (coarse · fine,)."""
    least: int

    def missing(self, chosen: Sequence[int]) -> int:
        """How many settings are still to be chosen."""
        return max(self.least - int(np.count_nonzero(self.places[list(chosen)])), 0)


def musts(law: GainLaw, *, detect: int) -> tuple[Must, ...]:
    """Everything that the structure of a device asks for.

    Args:
        law: of the device.
        detect: settings in which each state of a relay is to be seen, where there are as many.
    Returns:
        each range; the least and the greatest gain; each relay in both states; each bit of each word seen as 0 and as
        1; both sides of the highest bit of the code that changes within a range, at fine neighbours.
    """
    return tuple(must for must in _musts(law, detect) if bool(must.places.any()))


def column(law: GainLaw, fine: int) -> tuple[Must, ...]:
    """One fine position in every range, so that each step between ranges can be measured.

    Args:
        law: of the device.
        fine: the position.
    Returns:
        a demand for each range.
    """
    places, count = np.arange(law.arithmetic_ratio.size), len(law.fine_names)
    return tuple(
        Must(what=f"step to range {name} at {law.fine_names[fine]}", places=places == coarse * count + fine, least=1)
        for coarse, name in enumerate(law.coarse_names)
    )


def named(law: GainLaw, settings: Sequence[tuple[int, int]]) -> tuple[Must, ...]:
    """Settings that somebody wants, whatever else they are good for.

    Args:
        law: of the device.
        settings: coarse and fine index of each.
    Returns:
        a demand for each.
    """
    places, count = np.arange(law.arithmetic_ratio.size), len(law.fine_names)
    return tuple(
        Must(what=f"{law.coarse_names[c]} {law.fine_names[f]} by name", places=places == c * count + f, least=1)
        for c, f in settings
    )


def _musts(law: GainLaw, detect: int) -> Iterator[Must]:
    fine = len(law.fine_names)
    places = np.arange(law.arithmetic_ratio.size)
    for coarse, name in enumerate(law.coarse_names):
        yield Must(what=f"range {name}", places=places // fine == coarse, least=1)
    predictions = [law.predict(Setting(1, *divmod(int(place), fine))) for place in places]
    gains = np.asarray([prediction.gain_codes_per_v for prediction in predictions])
    yield Must(what="least gain", places=places == int(np.argmin(gains)), least=1)
    yield Must(what="greatest gain", places=places == int(np.argmax(gains)), least=1)
    held = [law.relays_of(dict(prediction.state.controls)) for prediction in predictions]
    for relay in sorted(frozenset().union(*held)):
        closed = np.asarray([relay in relays for relays in held])
        for state, mine in (("on", closed), ("off", ~closed)):
            yield Must(what=f"relay {relay} {state}", places=mine, least=min(detect, int(mine.sum())))
    words = [(prediction.state.word, *prediction.state.more) for prediction in predictions]
    for number in range(len(words[0])):
        values = np.asarray([each[number].value for each in words])
        for bit in range(words[0][number].bits):
            high = (values >> bit) & 1 == 1
            if bool(high.any()) and not bool(high.all()):
                of = f"{words[0][number].latch} " if len(words[0]) > 1 else ""
                yield Must(what=f"{of}bit {bit} as 1", places=high, least=1)
                yield Must(what=f"{of}bit {bit} as 0", places=~high, least=1)
    yield from _carry(law)


def _carry(law: GainLaw) -> Iterator[Must]:
    """The two fine neighbours of one range that are nearest to the carry."""
    fine = len(law.fine_names)
    codes = law.grid[law.code_control].reshape(len(law.coarse_names), fine)
    if law.path.controls()[law.code_control].named or fine < 2:
        return
    for bit in range(int(codes.max()).bit_length() - 1, -1, -1):
        crossed = (codes[:, 1:] >> bit) != (codes[:, :-1] >> bit)
        if bool(crossed.any()):
            width = np.where(crossed, np.abs(codes[:, 1:] - codes[:, :-1]), np.iinfo(np.int64).max)
            coarse, low = divmod(int(np.argmin(width)), fine - 1)
            for side, place in (("below", coarse * fine + low), ("above", coarse * fine + low + 1)):
                mine = np.arange(codes.size) == place
                yield Must(what=f"{side} the carry into bit {bit} of the code", places=mine, least=1)
            return
