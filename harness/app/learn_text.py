"""What each stage of `gainladder learn` found, for people: findings, and how sure they are."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

from harness.app.learn_ending import Learned
from harness.app.learn_notebook import Notebook
from harness.app.learn_stages import TROUBLE
from harness.config import SettingsFile
from harness.learn import Explained, Moves
from harness.learn.write.correction_keys import told_corrections
from harness.values import Realness

MOST = 5
"""Settings named of a kind; the page has them all."""


def heard_text(book: Notebook) -> list[str]:
    """Lines, words, latches."""
    return [
        f"TROUBLE    {evidence}" if question == TROUBLE else f"{question:<18} {answer:<18} {evidence}"
        for question, answer, evidence in book.answers
    ]


def scouted_text(book: Notebook, settings: SettingsFile) -> list[str]:
    """The gain of each range."""
    names, fine = settings.range_names, settings.fine_names
    return [f"{names[s.coarse]:<10} {fine[s.fine]:<10} {gain:10.5g} codes/V" for s, gain in book.scouted.items()]


def explained_text(learned: Learned, settings: SettingsFile) -> Iterator[str]:
    """Bits, law, ranges, arithmetic, rule."""
    explained = learned.explained
    if explained.by_words:
        moves = Counter(explained.movement.bits)
        yield "bits       " + ", ".join(f"{moves[how]} move with {how}" for how in Moves if how is not Moves.NEVER) + (
            f", {moves[Moves.NEVER]} never"
        )
    yield from _law(explained)
    if explained.corrected is not None:
        told = told_corrections(explained, settings.range_names)
        yield from (f"correction {one.text} ({one.sure})" for one in told)
        yield from (f"correction no other: {refused}" for refused in (explained.corrected.refused,) if refused)
    for part in learned.rule.draft.stages[:-1]:
        yield f"stage      {part.keys['name']}: {part.notes[0]} ({part.sure})"
    yield from _realness(explained, settings)
    rule = learned.rule
    if rule.seen:
        how = f"sends {rule.right} of {rule.seen} words that were seen"
        yield f"firmware   {rule.firmware['rule']}: {how}"
    for what, settings_without in (("no gain at", learned.gathered.unread), ("no word at", learned.gathered.unheard)):
        yield from _list(what, tuple(f"{settings.label(setting)}: {why}" for setting, why in settings_without))


def _law(explained: Explained) -> Iterator[str]:
    law = explained.law
    if law is None:
        yield "law        none explains the gains"
        return
    field = law.hypothesis.field
    first = "least" if field.least_first else "most"
    where = f"bits {field.start} to {field.start + field.bits - 1} of the word, {first} significant first"
    if not explained.by_words:
        where = "the fine position"
    left = f"it leaves {100.0 * law.scatter_ratio:.2g} %"
    yield f"law        {law.hypothesis.shape} in {where} ({explained.sure}); {left}"
    seen: set[str] = set()
    for one in explained.ranked:
        if one.shape not in seen:
            seen.add(one.shape)
            wrong = f"{100.0 * one.left_out_ratio:.3g} %" if math.isfinite(one.left_out_ratio) else "cannot say"
            yield f"           {one.shape:<14} criterion {one.bic:8.0f}; on gains left out: {wrong}"


def _realness(explained: Explained, settings: SettingsFile) -> Iterator[str]:
    counts = Counter(part.realness for part in explained.parts)
    yield "settings   " + ", ".join(f"{count} {what}" for what, count in counts.most_common())
    for what in (Realness.ARITHMETIC, Realness.MIXED, Realness.UNPROVEN):
        ranges: dict[str, str] = {}
        for part, setting in zip(explained.parts, explained.seen.settings, strict=True):
            if part.realness is what:
                ranges.setdefault(settings.range_names[setting.coarse], part.why)
        yield from _list(str(what), tuple(f"range {name}: {why}" for name, why in ranges.items()))


def _list(what: str, lines: tuple[str, ...]) -> Iterator[str]:
    for line in lines[:MOST]:
        yield f"{what:<10} {line}"
    if len(lines) > MOST:
        yield f"{what:<10} and {len(lines) - MOST} more"
