"""All that words, gains and records say of a device together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from harness.errors import LearnError
from harness.learn.explain.arithmetic import Part, Parts, Waves, arithmetic_parts, unproven
from harness.learn.explain.choice import absorbed, choose
from harness.learn.explain.competition import Ranked, bases, compete, sample_of, sure
from harness.learn.explain.corrections import Corrected, corrected
from harness.learn.explain.hypothesis import Fitted, Groups, fit
from harness.learn.explain.movement import Movement, movement_of
from harness.learn.explain.observed import Observed, Seen, Segment, gather
from harness.learn.explain.ranges import RangeStates, range_states, with_factors
from harness.values import Realness

LEAST_GAINS = 6
"""Fewer gains than this explain nothing."""
AS_NAMED = 0.35
"""Gains that follow their names so much better than their words are made up by arithmetic."""
NAMED_RATIO = 0.002
"""So well gains follow their names where arithmetic makes up the rest."""
MADE_UP_RATIO = 0.002
"""A remainder below this is the word's own deviation."""
WORSE = 3.0
"""States that join ranges may fit so many times worse than a base for each range."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Explained:
    """What a device does, as far as it can be told."""

    seen: Seen
    """As observed; without a bus the words are the fine positions."""
    by_words: bool
    """Whether control words were seen."""
    movement: Movement
    parts: tuple[Part, ...]
    """In order of the settings."""
    alike: tuple[tuple[int, int, str], ...]
    """Pairs of ranges with the same words and different gains, and what tells them apart."""
    ranked: tuple[Ranked, ...]
    """All laws that were tried, best first."""
    law: Fitted | None
    """The explanation that goes on; None where no law could be fitted."""
    base: Groups
    """Shape (n,): the group of each setting in the law."""
    states: RangeStates | None
    """None where the words tell all ranges apart, or there is no law."""
    mixed: bool
    """Whether arithmetic makes up what the words leave of the named gains."""
    sure: str
    """Of the law: known, likely, guessed; empty without one."""
    corrected: Corrected | None = None
    """What the law's residuals asked for; None where nobody looked: no law, or gains that follow their names."""

    def hardware_logs(self) -> Floats:
        """ln of the hardware gain by the law, shape (n,); NaN where the law says nothing."""
        if self.law is None:
            return np.full(len(self.seen.settings), math.nan)
        return self.law.explain(self.seen.bits, self.base)

    def gains_codes_per_v(self) -> Floats:
        """Gain of each setting by the law, arithmetic included, shape (n,)."""
        return np.asarray(np.exp(self.hardware_logs()) * np.asarray([part.ratio for part in self.parts]))

    def plain_logs(self) -> Floats:
        """ln of the hardware gain without corrections, as firmware reckons, shape (n,); NaN where no law says it."""
        logs = self.hardware_logs()
        if self.law is None:
            return logs
        logs = logs - self.law.term_logs(self.seen.bits)
        factors = self.states.factors if self.states is not None else {}
        for one in factors.values():
            logs = logs - one.log * (self.seen.coarse == one.coarse)
        return np.asarray(logs)

    def u_ratio(self) -> Floats:
        """Standard uncertainty of those gains that is the law's own, relative, shape (n,)."""
        if self.law is None:
            return np.full(len(self.seen.settings), math.nan)
        return self.law.spread_ratio(self.seen.bits, self.base)


def explain(
    observed: Sequence[Observed], *, waves: Waves | None = None, named: Mapping[tuple[int, int], float] | None = None
) -> Explained:
    """What the gain control of a device does.

    Args:
        observed: each setting once, with words or without, with a gain or without.
        waves: records by setting; without them arithmetic between ranges stays unproven. Empty: there were none at all,
            and nothing is called hardware.
        named: gain that each coarse and fine position is named after, in any unit; None where names say nothing.
    Returns:
        the explanation; a setting without a measured gain has one by the law where the law reaches it.
    Raises:
        LearnError: too few gains, or words that do not fit together (see gather).
    Source:
        common practice, no source: words first, then gains, then what is left.
    """
    seen = gather(observed)
    count = int(seen.measured.sum())
    if count < LEAST_GAINS:
        raise LearnError(f"learn: {count} settings have a gain; allowed is {LEAST_GAINS} or more: measure further ones")
    by_words = seen.bits.shape[1] > 0
    parts = arithmetic_parts(seen, waves or {})
    mixed = by_words and _made_up(seen, parts, named)
    if mixed:
        parts = _without_inside(parts)
    if not by_words:
        seen = with_positions(seen)
    movement = movement_of(seen)
    logs = np.asarray(seen.logs - np.log(parts.ratios))
    ranked = compete(seen, logs, movement)
    best = choose(ranked)
    if best is None:
        return Explained(
            seen=seen, by_words=by_words, movement=movement, parts=parts.parts, alike=parts.alike, ranked=ranked,
            law=None, base=bases(seen, ranges_apart=True), states=None, mixed=False, sure="",
        )  # fmt: skip
    law, base, states = _settle(best, seen, logs, movement)
    found = parts.parts
    if mixed or _follows_names(seen, logs, law, named):
        mixed, found, better = True, _remainders(seen, logs, law, base, parts.parts), None
    else:
        better = corrected(law, base, seen, logs, movement, by_words=by_words)
        law, base, states = better.law, better.base, with_factors(states, seen, better.range_factors(seen))
    if waves is not None and not waves:
        found = unproven(found)
    certain = sure(best, ranked)
    if not by_words and certain == "known":
        # The fine position stands for a word that nobody saw: the same gains may come from another one.
        certain = "likely"
    return Explained(
        seen=seen, by_words=by_words, movement=movement, parts=found, alike=parts.alike, ranked=ranked, law=law,
        base=base, states=states, mixed=mixed, sure=certain, corrected=better,
    )  # fmt: skip


def with_positions(seen: Seen) -> Seen:
    """The same settings with the fine position in the place of a word.

    Args:
        seen: settings without words.
    Returns:
        settings with one segment that holds the fine position plus one.
    Source:
        none: bookkeeping.
    """
    codes = seen.fine + 1
    bits = max(int(codes.max()).bit_length(), 2)
    rows = (codes[:, None] >> np.arange(bits)[::-1]) & 1
    return replace(seen, bits=rows.astype(np.uint8), segments=(Segment(latches=(), start=0, bits=bits),))


def _settle(
    best: Ranked, seen: Seen, logs: Floats, movement: Movement
) -> tuple[Fitted, Groups, RangeStates | None]:
    """The law with as few bases as the gains allow."""
    base = bases(seen, ranges_apart=best.ranges_apart)
    sample = sample_of(seen, logs, base, movement)
    # A carry helped to find the field; whether it is asked for is decided later, beside all other corrections.
    plain = fit(replace(best.fitted.hypothesis, terms=()), sample) or best.fitted
    law = fit(absorbed(plain), sample) or plain
    if not best.ranges_apart:
        return law, base, None
    states = range_states(law, seen, movement)
    joined = np.asarray([
        int(channel) * len(states.state_logs) + states.state_of.get(int(coarse), -1)
        for channel, coarse in zip(seen.channels, seen.coarse, strict=True)
    ])  # fmt: skip
    own = {place for place in states.bit_logs if place not in law.hypothesis.field.places}
    free = tuple(sorted({*law.hypothesis.free, *own}))
    fewer = fit(replace(law.hypothesis, free=free), sample_of(seen, logs, joined, movement))
    if fewer is None or not fewer.determined or fewer.scatter_ratio > WORSE * max(law.scatter_ratio, 1e-3):
        return law, base, states
    return fewer, joined, states


def _made_up(seen: Seen, parts: Parts, named: Mapping[tuple[int, int], float] | None) -> bool:
    """Whether settings with the same word in one range follow their names: then arithmetic makes up the rest."""
    inside = any(part.ratio != 1.0 and "in the same range" in part.why for part in parts.parts)
    if named is None or not inside:
        return False
    spread = _spread_to_names(seen, seen.logs, named)
    return spread is not None and spread < NAMED_RATIO


def _without_inside(parts: Parts) -> Parts:
    cleared = tuple(
        Part(ratio=1.0, realness=Realness.HARDWARE, why="") if "in the same range" in part.why else part
        for part in parts.parts
    )
    return Parts(parts=cleared, alike=parts.alike)


def _follows_names(
    seen: Seen, logs: Floats, law: Fitted, named: Mapping[tuple[int, int], float] | None
) -> bool:
    if named is None or law.scatter_ratio < MADE_UP_RATIO:
        return False
    spread = _spread_to_names(seen, logs, named)
    return spread is not None and spread < min(AS_NAMED * law.scatter_ratio, NAMED_RATIO)


def _spread_to_names(seen: Seen, logs: Floats, named: Mapping[tuple[int, int], float]) -> float | None:
    """Scatter of gains around their names, each range for itself; None where names are missing."""
    rows = [
        (setting.channel, setting.coarse, log - math.log(named[setting.coarse, setting.fine]))
        for setting, log in zip(seen.settings, logs, strict=True)
        if math.isfinite(log) and (setting.coarse, setting.fine) in named
    ]
    groups: dict[tuple[int, int], list[float]] = {}
    for channel, coarse, away in rows:
        groups.setdefault((channel, coarse), []).append(away)
    left = [one - float(np.median(group)) for group in groups.values() if len(group) > 2 for one in group]
    return math.sqrt(float(np.mean(np.square(left)))) if left else None


def _remainders(
    seen: Seen, logs: Floats, law: Fitted, base: Groups, parts: Sequence[Part]
) -> tuple[Part, ...]:
    """What arithmetic adds to the word of each setting."""
    left = logs - law.explain(seen.bits, base)
    found = []
    for part, rest in zip(parts, left, strict=True):
        if not math.isfinite(rest) or abs(rest) < MADE_UP_RATIO:
            found.append(part)
            continue
        ratio = part.ratio * math.exp(float(rest))
        why = f"as named; the word stands for ×{math.exp(-float(rest)):.4g} of the gain, the rest is arithmetic"
        found.append(Part(ratio=ratio, realness=Realness.MIXED, why="; ".join(filter(None, (part.why, why)))))
    return tuple(found)
