"""The explanation as stages of a signal path and fields of a word."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from harness.errors import LearnError
from harness.learn.explain import Explained, Moves, Shape
from harness.learn.explain.hypothesis import Fitted

CODE = "code"
"""Name of the control that holds the number."""
COVERED = 2.0
"""± in a note is so many standard uncertainties."""
UNSEEN = "unseen"
"""Name of the control for what no word shows."""
NO_GAIN_RATIO = 0.003
"""A bit whose ratio is nearer to 1 does nothing to the gain, as far as can be told."""
LN_PER_DB = math.log(10.0) / 20.0

Value = str | int | float | dict[str, float] | dict[str, list[str]] | list[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class StagePart:
    """One `[[stage]]` table."""

    keys: Mapping[str, Value]
    """Name, kind and parameters, in order."""
    sure: str
    """known, likely or guessed."""
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldPart:
    """Neighbouring bits of a word with one meaning."""

    bits: int
    control: str = ""
    """Empty for bits that never moved."""
    fill: int = 0
    least_first: bool = False
    note: str = ""


def digits(value: float) -> float:
    """A number as a file shows it.

    Args:
        value: any.
    Returns:
        the value with 7 digits.
    Source:
        none: presentation.
    """
    return float(f"{value:.7g}")


def state_name(index: int) -> str:
    """The name of a state that no word shows.

    Args:
        index: from 0.
    Returns:
        the name.
    Source:
        none: naming.
    """
    return f"state-{index}"


def outside_bits(explained: Explained) -> Mapping[int, str]:
    """The control of each moving bit that is no part of the number, by place.

    Args:
        explained: any.
    Returns:
        names such as bit-0; empty without words or without a law.
    Source:
        none: naming.
    """
    if explained.law is None or not explained.by_words:
        return {}
    code = explained.law.hypothesis.field
    moving = explained.movement.places(Moves.FINE, Moves.COARSE, Moves.BOTH)
    return {place: f"bit-{place}" for place in moving if place not in code.places}


def stage_parts(explained: Explained, *, codes_per_v: float) -> tuple[StagePart, ...]:
    """The signal path.

    Args:
        explained: with a law.
        codes_per_v: of the converter.
    Returns:
        what no word shows, single bits, the number.
    Raises:
        LearnError: there is no law, or a table of gains that turns round.
    Source:
        none: the same content.
    """
    law = explained.law
    if law is None:
        raise LearnError(
            "learn: no law explains the gains; allowed is a fine position that moves a number in the word, or the gain "
            "itself: measure more settings of at least one range"
        )
    ratios = dict(zip(law.hypothesis.free, map(float, law.bit_logs), strict=True))
    own = dict(zip(law.hypothesis.free, map(float, np.sqrt(np.diag(law.covariance))), strict=False))
    stages = [_unseen(explained)] if explained.states is not None else []
    for place, name in outside_bits(explained).items():
        stages.append(_bit(place, name, ratios.get(place, 0.0), own.get(place, 0.0)))
    return (*stages, _number(explained, law, codes_per_v))


def _unseen(explained: Explained) -> StagePart:
    states = explained.states
    logs = states.state_logs if states is not None else (0.0,)
    gains: dict[str, float] = {state_name(index): digits(math.exp(log)) for index, log in enumerate(logs)}
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


def _number(explained: Explained, law: Fitted, codes_per_v: float) -> StagePart:
    code = law.hypothesis.field
    codes = code.codes(explained.seen.bits[np.isfinite(explained.hardware_logs()) & explained.seen.measured])
    first, last = int(codes.min()), int(codes.max())
    log = float(np.mean(list(first_levels(explained, law).values()))) - math.log(codes_per_v)
    keys: dict[str, Value] = {
        "name": "variable gain", "kind": str(law.hypothesis.shape), "control": CODE, "bits": code.bits,
    }  # fmt: skip
    match law.hypothesis.shape:
        case Shape.LINEAR_CODE:
            keys |= {"lowest_code": first, "gain_per_code": digits(math.exp(log))}
        case Shape.MDAC_FEEDBACK:
            keys |= {"lowest_code": first, "feedback_ratio": digits(math.exp(log) / 2.0**code.bits)}
        case Shape.LINEAR_IN_DB:
            slope_db = float(law.shape_weights[0]) / LN_PER_DB
            keys |= {"lowest_code": first, "highest_code": max(last, 1), "intercept_db": digits(log / LN_PER_DB)}
            keys |= {"slope_db_per_code": digits(slope_db)}
        case Shape.TABLE:
            keys |= {"first_code": first, "gains": _table(law, log, range(first, last + 1))}
    notes = list(_parameters(law, log))
    missed = min(one.left_out_ratio for one in explained.ranked if one.shape is law.hypothesis.shape)
    notes.append(f"on gains left out of the fit the law is wrong by {100.0 * missed:.2g} %")
    if first > 0 or last < 2**code.bits - 1:
        notes.append(f"seen were codes {first} to {last} of 0 to {2**code.bits - 1}; beyond them nothing is known")
    return StagePart(keys=keys, sure=explained.sure, notes=tuple(notes))


def _parameters(law: Fitted, log: float) -> Iterator[str]:
    """The law's own numbers with ±; its scale is a mean over the bases, each as uncertain as the law's own scatter."""
    scale = COVERED * law.scatter_ratio / math.sqrt(max(law.groups, 1))
    match law.hypothesis.shape:
        case Shape.LINEAR_CODE:
            yield f"{digits(math.exp(log)):.6g} ± {math.exp(log) * scale:.1g} for each code"
        case Shape.MDAC_FEEDBACK:
            yield f"{digits(math.exp(log)):.6g} ± {math.exp(log) * scale:.1g} over the code"
        case Shape.LINEAR_IN_DB:
            slope_db = float(law.shape_weights[0]) / LN_PER_DB
            u_db = COVERED * math.sqrt(max(float(law.covariance[-1, -1]), 0.0)) / LN_PER_DB
            start = f"{log / LN_PER_DB:.5g} ± {scale / LN_PER_DB:.1g} dB at code 0"
            yield f"{slope_db:.6g} ± {u_db:.1g} dB for each code, {start}"
        case Shape.TABLE:
            yield f"each gain ± {COVERED * law.scatter_ratio * 100.0:.1g} %"


def with_every_code(stages: Sequence[StagePart]) -> tuple[StagePart, ...]:
    """The same path, its number free to use codes that were not seen.

    Args:
        stages: the number last.
    Returns:
        the stages; a table stays as it is.
    Source:
        none: a firmware may round to a code that these settings did not need.
    """
    keys = {key: value for key, value in stages[-1].keys.items() if key not in ("lowest_code", "highest_code")}
    return (*stages[:-1], replace(stages[-1], keys=keys))


def first_levels(explained: Explained, law: Fitted) -> Mapping[int, float]:
    """ln of the gain at the law's origin in the first state, by channel.

    Args:
        explained: the law's.
        law: its numbers.
    Returns:
        one for each channel that was measured.
    Source:
        the fitted sum.
    """
    states, found = explained.states, dict[int, float]()
    for setting, group in zip(explained.seen.settings, explained.base, strict=True):
        log = 0.0 if states is None else states.state_logs[states.state_of.get(setting.coarse, 0)]
        if int(group) in law.base:
            found.setdefault(setting.channel, law.base[int(group)] - log)
    return found


def _table(law: Fitted, log: float, codes: range) -> list[float]:
    """One gain for each code; between codes that were seen ln gain is a straight line."""
    logs = np.interp(list(codes), law.levels, np.concatenate(([0.0], law.shape_weights))) + log
    steps = np.diff(logs)
    if not (np.all(steps > 0.0) or np.all(steps < 0.0)):
        turn = codes[int(np.flatnonzero(np.sign(steps) != np.sign(steps[0]))[0]) + 1]
        raise LearnError(
            f"learn: the gain turns round at code {turn}; allowed is one that rises or falls throughout: is a bit "
            "missing, or does another control move along?"
        )
    return [digits(math.exp(value)) for value in logs]
