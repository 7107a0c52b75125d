"""The number of the word as a stage: its law with parameters, and how sure they are."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from harness.errors import LearnError
from harness.learn.explain import Explained, Shape
from harness.learn.explain.hypothesis import Fitted
from harness.learn.write.correction_keys import correction_keys, told_corrections
from harness.learn.write.parts import CODE, COVERED, LN_PER_DB, StagePart, Value, digits


def number_part(explained: Explained, law: Fitted, *, codes_per_v: float, frequency_hz: float) -> StagePart:
    """The stage that the number sets.

    Args:
        explained: the law's.
        law: its numbers.
        codes_per_v: of the converter.
        frequency_hz: at which gains were measured.
    Returns:
        the stage.
    Raises:
        LearnError: a table of gains that turns round.
    Source:
        none: the same content.
    """
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
    keys |= correction_keys(law, scale_ratio=math.exp(log), frequency_hz=frequency_hz)
    notes = [*_parameters(law, log), *(told.text for told in told_corrections(explained) if not told.of_range)]
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
            slope = law.bit_logs.size
            u_db = COVERED * math.sqrt(max(float(law.covariance[slope, slope]), 0.0)) / LN_PER_DB
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
