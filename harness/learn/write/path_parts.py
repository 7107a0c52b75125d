"""The explanation as stages of a signal path."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from harness.errors import LearnError
from harness.learn.explain import Explained, Moves
from harness.learn.write.correction_keys import told_corrections
from harness.learn.write.number_part import number_part
from harness.learn.write.parts import COVERED, LN_PER_DB, UNSEEN, StagePart, Value, digits, outside_bits, state_name
from harness.values import Realness

NO_GAIN_RATIO = 0.003
"""A bit whose ratio is nearer to 1 does nothing to the gain, as far as can be told."""


def stage_parts(
    explained: Explained, *, codes_per_v: float, frequency_hz: float, names: Sequence[str] = ()
) -> tuple[StagePart, ...]:
    """The signal path.

    Args:
        explained: with a law.
        codes_per_v: of the converter.
        frequency_hz: at which gains were measured.
        names: of the ranges; without them they are numbered.
    Returns:
        what no word shows, single bits, the number.
    Raises:
        LearnError: there is no law, or a table of gains that turns round.
    Source:
        none: the same content.
    """
    law = explained.law
    count = sum(part.realness is Realness.ARITHMETIC for part in explained.parts)
    if law is None and count and explained.by_words and not explained.movement.places(Moves.FINE, Moves.BOTH):
        raise LearnError(
            f"learn: the fine position moves no bit of any word, and {count} settings have gain by arithmetic; allowed "
            "is one that moves a number in the word: no device file can say a fine gain that no hardware makes"
        )
    if law is None:
        raise LearnError(
            "learn: no law explains the gains; allowed is a fine position that moves a number in the word, or the gain "
            "itself: measure more settings of at least one range"
        )
    ratios = dict(zip(law.hypothesis.free, map(float, law.bit_logs), strict=True))
    own = dict(zip(law.hypothesis.free, map(float, np.sqrt(np.diag(law.covariance))), strict=False))
    stages = [_unseen(explained, names)] if explained.states is not None else []
    for place, name in outside_bits(explained).items():
        stages.append(_bit(place, name, ratios.get(place, 0.0), own.get(place, 0.0)))
    return (*stages, number_part(explained, law, codes_per_v=codes_per_v, frequency_hz=frequency_hz))


def _unseen(explained: Explained, names: Sequence[str]) -> StagePart:
    states = explained.states
    logs = states.state_logs if states is not None else (0.0,)
    factors = states.factors if states is not None else {}
    nominal = [logs[factors[index].state] if index in factors else log for index, log in enumerate(logs)]
    gains: dict[str, float] = {state_name(index): digits(math.exp(log)) for index, log in enumerate(nominal)}
    notes = ["no word shows it: relays, or a switch whose wires were not probed; gain relative to the first range"]
    if len(logs) > 1:
        spread = _state_spread(explained)
        ratios = ", ".join(f"×{math.exp(log):.6g} ± {COVERED * math.exp(log) * spread:.1g}" for log in logs[1:])
        notes.append(f"measured {ratios}")
    notes += list(dict.fromkeys(why for _, _, why in explained.alike))[:3]
    # Two ranges with the same word are told apart by something: as relays they are counted when a step is judged.
    relays = {name: [f"unseen-{index}"] if index else [] for index, name in enumerate(gains)}
    keys: dict[str, Value] = {
        "name": "unseen switch", "kind": "relay-attenuator", "control": UNSEEN, "ratios": gains, "relays": relays,
    }  # fmt: skip
    if factors:
        percents = {state_name(index): digits(100.0 * math.expm1(one.log)) for index, one in factors.items()}
        keys["corrections"] = {"positions_percent": percents}
        notes += [told.text for told in told_corrections(explained, names) if told.of_range]
    return StagePart(keys=keys, sure="likely", notes=tuple(notes))


def _state_spread(explained: Explained) -> float:
    """Standard uncertainty of the ratio of two states, relative: each is a mean over its ranges and channels.

    What the law leaves differs from range to range and hardly inside one, so readings of one range count as one.
    """
    law, states = explained.law, explained.states
    if law is None or states is None:
        return 0.0
    of_state: dict[int, set[tuple[int, int]]] = {}
    for setting in explained.seen.settings:
        state = states.state_of.get(setting.coarse, 0)
        of_state.setdefault(state, set()).add((setting.channel, setting.coarse))
    first = len(of_state.pop(0, {(0, 0)}))
    fewest = min((len(ranges) for ranges in of_state.values()), default=1)
    return law.scatter_ratio * math.sqrt(1.0 / first + 1.0 / fewest)


def _bit(place: int, control: str, log: float, u_log: float) -> StagePart:
    silent = abs(log) < NO_GAIN_RATIO
    ratio = 1.0 if silent else digits(math.exp(log))
    note = f"×{ratio:.5g} ± {COVERED * ratio * u_log:.1g} with the bit set, {log / LN_PER_DB:+.2f} dB"
    if silent:
        note = "it moves, and the gain does not follow: the coil of a relay, a lamp, or something unknown"
    keys: dict[str, Value] = {"name": f"bit {place}", "kind": "pregain-bit", "control": control, "ratio": ratio}
    return StagePart(keys=keys, sure="likely" if silent else "known", notes=(note,))
