"""From a run to the likeliest faults: station first, then words and gains against the dictionary, then the ranking."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.diagnosis.affected import affected_channels
from harness.diagnosis.catalogue import KNOWN
from harness.diagnosis.dictionary import hypotheses
from harness.diagnosis.distance import Match, matches
from harness.diagnosis.exact_factors import match_factor
from harness.diagnosis.ranking import Ranked, Ranking, rank
from harness.diagnosis.validity import of_invalid
from harness.diagnosis.view import View, view_of
from harness.diagnosis.visit import Case
from harness.values import Candidate

MOST = 3
"""Candidates shown."""
DEVICE_PROVEN = "noise moved with the gain"
"""Words of the self-check when the device's own noise shows that the device is what changed."""
FAR = 100.0
"""Beside one that explains the readings, others as much farther off need not be shown."""
TELLING = frozenset({"steady"})
"""Claims that speak for a fault at a single setting."""
FEWEST = 3
"""Readings without which no pattern is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What may be wrong."""

    candidates: tuple[Candidate, ...]
    """At most three, the likeliest first."""
    none_of_these: str = ""
    """Not empty when no known fault explains the readings: how far the best one is from them."""


def diagnose(case: Case) -> Diagnosis:
    """What would explain a run.

    Args:
        case: the run.
    Returns:
        candidates with what each predicts, where to look and what tells it apart; none for a run that meets everything.
    Source:
        classifier recipe (common practice, no source): validity, station, words, gains, dictionary, ranking, order.
    """
    channels = affected_channels(case)
    views = {channel: view_of(case, channel) for channel in channels}
    views = {channel: view for channel, view in views.items() if _enough(view, case.failed[channel])}
    invalid = of_invalid(case)
    if not views:
        return Diagnosis(candidates=invalid[:MOST])
    found = {
        channel: matches(view, tuple(hypotheses(view)), case.failed[channel] | view.odd)
        for channel, view in views.items()
    }
    sound = len(channels) < len(case.channels)
    ranking = _ranked(found, views, sound_channels=sound)
    if ranking.explained or len(found) == 1:
        return _diagnosis(ranking, case, views, invalid)
    apart = [_ranked({channel: own}, views, sound_channels=sound) for channel, own in found.items()]
    return (
        _several(apart, case, views, invalid)
        if all(own.explained for own in apart)
        else _diagnosis(ranking, case, views, invalid)
    )


def _enough(view: View, failed: frozenset[str]) -> bool:
    """Whether there are gains, wrong words, or a claim that names its own cause: right words alone say nothing."""
    wrong = bool((view.heard & (view.latched != view.planned)).any())
    return int(view.known.sum()) >= FEWEST or wrong or bool(view.odd) or bool(failed & TELLING)


def _ranked(found: dict[int, tuple[Match, ...]], views: dict[int, View], *, sound_channels: bool) -> Ranking:
    readings = sum(int(views[channel].known.sum()) for channel in found)
    return rank(found, readings=readings, sound_channels=sound_channels)


def _diagnosis(ranking: Ranking, case: Case, views: dict[int, View], invalid: Sequence[Candidate]) -> Diagnosis:
    faults = _proven(ranking, case)
    least = ranking.faults[0].distance if ranking.faults else 0.0
    near = [r for r in faults[:MOST] if not ranking.explained or r.distance - least <= FAR]
    shown = [_candidate(ranked, views, ranking) for ranked in near]
    shown += [candidate for candidate in invalid if candidate.fault not in {one.fault for one in shown}]
    return Diagnosis(candidates=tuple(shown[:MOST]), none_of_these=_none(ranking))


def _several(apart: list[Ranking], case: Case, views: dict[int, View], invalid: Sequence[Candidate]) -> Diagnosis:
    """Channels with faults of their own: the best of each."""
    best: dict[str, Candidate] = {}
    for ranking in apart:
        ranked = _proven(ranking, case)[0]
        one = _candidate(ranked, views, ranking)
        best.setdefault(ranked.fault, one)
    return Diagnosis(candidates=(*best.values(), *invalid)[:MOST])


def _proven(ranking: Ranking, case: Case) -> list[Ranked]:
    """Of those that cannot be told apart the device before the station where its own noise moved with the gain."""
    proven, together = any(DEVICE_PROVEN in text for text in case.notes), ranking.ambiguous()
    return sorted(
        ranking.faults,
        key=lambda ranked: (ranked.fault not in together, proven and KNOWN[ranked.fault].station),
    )


def _none(ranking: Ranking) -> str:
    if ranking.explained or not ranking.faults:
        return ""
    return (
        f"none of these: what the best one ({ranking.faults[0].fault}) leaves is {ranking.misfit_ratio:.3g} times what "
        f"good units scatter, squared; chance allows {ranking.most_ratio:.3g}"
    )


def _candidate(ranked: Ranked, views: dict[int, View], ranking: Ranking) -> Candidate:
    known, together = KNOWN[ranked.fault], ranking.ambiguous()
    alike = together if ranked.fault in together else ranking.alike(ranked)
    others = tuple(fault for fault in alike if fault != ranked.fault)
    return Candidate(
        fault=ranked.fault,
        why="; ".join(_why(channel, match, views[channel]) for channel, match in ranked.matches.items()),
        test=known.test,
        id=known.id,
        predicts=known.shows,
        look=known.look,
        confidence_ratio=ranked.share_ratio,
        distance=ranked.distance,
        ambiguous=others,
    )


def _why(channel: int, match: Match, view: View) -> str:
    """One channel in words: which part, how much, and whether the bus shows it."""
    entry = match.hypothesis
    said = [entry.what] if entry.what else []
    if match.size is not None:
        said.append(f"size {match.size:+.3g} %")
        exact = match_factor(math.exp(match.size / 100.0)) if abs(match.size) < 1e3 else ()
        said += [f"exactly {exact[0].cause}"] if exact and entry.everywhere else []
    if bool(view.heard.any()):
        said.append("words on the bus right" if entry.latched is None else "the bus shows it")
    if not entry.pattern_percent.any():
        said.append("gains as they are" if not entry.needs else f"claims: {', '.join(sorted(entry.needs))}")
    return f"channel {channel}: {', '.join(said)}"
