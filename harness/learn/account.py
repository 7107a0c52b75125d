"""The story of a learned device as a record: settings, bits, lines, laws that competed, and what is known of each."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np

from harness.bus import BusWiring
from harness.config import SettingsFile
from harness.learn.account_facts import alike, facts
from harness.learn.explain import Explained, Moves
from harness.learn.explain.hypothesis import Fitted
from harness.learn.readings import Gathered
from harness.learn.write import Rule
from harness.values import (
    LearnedBit,
    LearnedDevice,
    LearnedLaw,
    LearnedLine,
    LearnedSetting,
    LearnedStage,
    LearnedStep,
)

Answers = Sequence[tuple[str, str, str]]
"""Question, answer, evidence."""
SHAPES = {
    "linear-code": "gain proportional to the code",
    "mdac-feedback": "gain proportional to one over the code",
    "linear-in-db": "the same number of dB for each code",
    "table": "a gain of its own for each code",
}


def account_of(
    gathered: Gathered,
    explained: Explained,
    rule: Rule,
    settings: SettingsFile,
    *,
    wiring: BusWiring | None,
    answers: Answers,
    source: str,
) -> LearnedDevice:
    """The whole story.

    Args:
        gathered: what was seen.
        explained: what it means.
        rule: of the firmware, with the device file.
        settings: what was known from outside.
        wiring: of the bus; None without one.
        answers: what the bus was asked, with the evidence; empty where nobody listened.
        source: what it was learned from, for people.
    Returns:
        the record that the story page shows.
    Source:
        none: the same content.
    """
    law = explained.law
    rows = tuple(_settings(explained, settings))
    return LearnedDevice(
        name=settings.name, source=source, channels=settings.channels, ranges=settings.range_names,
        fine=settings.fine_names, law=law_sentence(explained), sure=explained.sure,
        left_percent=None if law is None else 100.0 * law.scatter_ratio,
        settings=rows, steps=tuple(_steps(rows)), lines=tuple(_lines(wiring, explained, answers)),
        bits=tuple(_bits(explained)), laws=tuple(laws_of(explained)),
        stages=tuple(
            LearnedStage(
                name=str(part.keys["name"]), kind=str(part.keys["kind"]), sure=part.sure,
                notes=tuple(note for note in part.notes if note not in {why for _, _, why in explained.alike}),
            )
            for part in rule.draft.stages
        ),
        facts=tuple(facts(gathered, explained, rule, settings)), listened=tuple(answers),
        alike=tuple(alike(explained, settings)),
    )  # fmt: skip


def law_sentence(explained: Explained) -> str:
    """The law in words.

    Args:
        explained: any.
    Returns:
        what follows what; empty without a law.
    Source:
        none: presentation.
    """
    law = explained.law
    if law is None:
        return ""
    field = law.hypothesis.field
    first = "least" if field.least_first else "most"
    where = f"in bits {field.start} to {field.start + field.bits - 1} of the word, {first} significant bit first"
    if not explained.by_words:
        where = "by the fine position, for no word was seen"
    return f"{SHAPES[str(law.hypothesis.shape)]} {where}"


def _settings(explained: Explained, settings: SettingsFile) -> Iterator[LearnedSetting]:
    seen, law = explained.seen, explained.law
    gains, spread = explained.gains_codes_per_v(), explained.u_ratio()
    codes = law.hypothesis.field.codes(seen.bits) if law is not None else np.full(len(seen.settings), -1)
    number = law.hypothesis.field.places if law is not None else range(0)
    for row, setting in enumerate(seen.settings):
        part = explained.parts[row]
        measured = float(math.exp(seen.logs[row])) if seen.measured[row] else None
        by_law = _finite(gains[row])
        yield LearnedSetting(
            setting=setting, label=settings.label(setting), word=_word(explained, row),
            bits="".join(map(str, seen.bits[row])) if explained.by_words else "",
            outside="".join(str(bit) for place, bit in enumerate(seen.bits[row]) if place not in number),
            code=None if law is None else int(codes[row]), measured_codes_per_v=measured, law_codes_per_v=by_law,
            u_percent=_finite(100.0 * spread[row]),
            residual_percent=100.0 * (measured / by_law - 1.0) if measured and by_law else None,
            realness=part.realness, arithmetic_ratio=part.ratio, why=part.why,
        )  # fmt: skip


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _word(explained: Explained, row: int) -> str:
    if not explained.by_words:
        return ""
    words = zip(explained.seen.segments, explained.seen.held(row), strict=True)
    return " ".join(f"{value:0{(segment.bits + 3) // 4}X}" for segment, value in words)


def _steps(rows: Sequence[LearnedSetting]) -> Iterator[LearnedStep]:
    known = [row for row in rows if row.measured_codes_per_v is not None]
    for before, after in itertools.pairwise(known):
        one, other = before.setting, after.setting
        if (one.channel, one.coarse) == (other.channel, other.coarse):
            by_law = _db(before.law_codes_per_v, after.law_codes_per_v)
            measured = _db(before.measured_codes_per_v, after.measured_codes_per_v)
            yield LearnedStep(setting=other, label=after.label, measured_db=measured or 0.0, law_db=by_law)


def _db(before: float | None, after: float | None) -> float | None:
    return 20.0 * math.log10(after / before) if before and after else None


def _lines(wiring: BusWiring | None, explained: Explained, answers: Answers) -> Iterator[LearnedLine]:
    if wiring is None:
        return
    evidence = {question: why for question, _, why in answers}
    by_answer = {answer: why for question, answer, why in answers if question.startswith("latch ")}
    owners: dict[str, list[int]] = {}
    channels = sorted({setting.channel for setting in explained.seen.settings})
    for segment in explained.seen.segments if explained.by_words else ():
        for channel, latch in zip(channels, segment.latches, strict=True):
            owners.setdefault(latch, []).append(channel)
    bits = {device.latch: device.bits for device in wiring.devices}
    for line in wiring.lines:
        if line == wiring.data:
            yield LearnedLine(name=line, role="data", evidence=evidence.get("data", "given"))
        elif line == wiring.clock:
            edge = "rising" if wiring.clock_rising else "falling"
            role = f"clock, acts on its {edge} edge"
            yield LearnedLine(name=line, role=role, evidence=evidence.get("clock", "given"))
        elif line in bits:
            mine = owners.get(line)
            whose = f"channel {', '.join(map(str, mine))}" if mine else "a bystander: it follows no channel"
            role = f"latch of {bits[line]} bits, {whose}"
            yield LearnedLine(name=line, role=role, evidence=by_answer.get(line, "given"))
        else:
            yield LearnedLine(name=line, role="", evidence="nothing on it could be told")


def _bits(explained: Explained) -> Iterator[LearnedBit]:
    if not explained.by_words:
        return
    law = explained.law
    ratios = dict(zip(law.hypothesis.free, map(float, law.bit_logs), strict=True)) if law is not None else {}
    for place, moves in enumerate(explained.movement.bits):
        yield LearnedBit(place=place, moves=str(moves), meaning=_meaning(explained, law, place, ratios))


def _meaning(
    explained: Explained, law: Fitted | None, place: int, ratios: dict[int, float]
) -> str:
    if law is not None and place in law.hypothesis.field.places:
        field = law.hypothesis.field
        weight = place - field.start if field.least_first else field.bits - 1 - (place - field.start)
        still = ", not exercised" if explained.movement.bits[place] is Moves.NEVER else ""
        return f"number, 2^{weight}{still}"
    if explained.movement.bits[place] is Moves.NEVER:
        return f"unknown: always {explained.movement.constant[place]}"
    if place in ratios:
        return f"×{math.exp(ratios[place]):.5g} when set"
    return "moves, and the gain does not follow by itself"


def laws_of(explained: Explained) -> Iterator[LearnedLaw]:
    """The best law of each shape, before them the chosen one with what its residuals asked for; none without a law."""
    if not explained.ranked or explained.law is None:
        return
    chosen, told = explained.law.hypothesis.shape, set[str]()
    found = _corrected_law(explained, next(one.bic for one in explained.ranked if one.shape is chosen))
    least = min([one.bic for one in explained.ranked] + [bic for _, bic in found])
    for law, bic in found:
        yield dataclasses.replace(law, behind=bic - least)
    for one in explained.ranked:
        if one.shape in told:
            continue
        told.add(one.shape)
        wrong = 100.0 * one.left_out_ratio
        yield LearnedLaw(
            shape=str(one.shape), behind=one.bic - least, left_out_percent=wrong if math.isfinite(wrong) else None,
            parameters=one.fitted.parameters - one.fitted.groups, chosen=one.shape is chosen and not found,
        )  # fmt: skip


def _corrected_law(explained: Explained, plain_bic: float) -> list[tuple[LearnedLaw, float]]:
    """The chosen law with what its residuals asked for, and its criterion; nothing where they asked for nothing."""
    found = explained.corrected
    if found is None or not found.steps:
        return []
    law = LearnedLaw(
        shape=f"{found.law.hypothesis.shape}, corrected", behind=0.0,
        left_out_percent=100.0 * found.steps[-1].after_ratio,
        parameters=found.law.parameters - found.law.groups, chosen=True,
    )  # fmt: skip
    return [(law, plain_bic - sum(step.drop for step in found.steps))]
