"""The firmware's rule, by trial: which rule sends the words that were seen."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from harness.config import DeviceFile, validate
from harness.errors import ConfigError, LearnError
from harness.law import GainLaw, build
from harness.learn.explain import Explained
from harness.learn.write.design_values import designed_stages
from harness.learn.write.draft import Draft
from harness.learn.write.number_part import with_every_code
from harness.learn.write.parts import CODE, UNSEEN, outside_bits
from harness.values import ControlWord, Setting

FILE = "learned device"
RULES = ("nearest-code", "floor")
Sent = ControlWord | tuple[str, str | int]
"""A word, or a control by name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A rule with what it gets right."""

    firmware: Mapping[str, Any]
    """The [firmware] table."""
    right: int
    """Settings whose word it sends."""
    seen: int
    wrong: tuple[str, ...]
    """Settings whose word it does not send, for people."""
    draft: Draft
    """With the constants that make the rule right."""
    device: DeviceFile
    law: GainLaw

    @property
    def computes(self) -> bool:
        """Whether the firmware is said to compute its codes; else the file lists those that were seen."""
        return bool(self.firmware["rule"] != "table")


def find_rule(explained: Explained, draft: Draft) -> Rule:
    """The rule that sends most of the words that were seen; the simplest of equals.

    Args:
        explained: with a law.
        draft: the rest of the device file.
    Returns:
        the rule with the device file and the law that it makes.
    Raises:
        LearnError: no rule makes a whole device file; the message says why.
    Source:
        the law room's own rules, tried on what was seen.
    """
    seen = _seen(explained, draft)
    best: Rule | None = None
    why = ""
    for firmware, variant in _candidates(explained, draft):
        try:
            found = _tried(variant, firmware, seen)
        except ConfigError as error:
            why = why or "; ".join(f"{p.key}: got {p.got}, allowed {p.allowed}" for p in error.problems[:2])
            continue
        if best is None or found.right > best.right:
            best = found
        if best.right == best.seen:
            break
    if best is None:
        why = why or "allowed is a word for each fine position of each range: measure those that are missing"
        raise LearnError(f"learn: no rule of the firmware makes a whole device file: {why}")
    return best


def _seen(explained: Explained, draft: Draft) -> Mapping[Setting, frozenset[Sent]]:
    """What was sent at each setting; where the file has no bus for the words, number and single bits stand for them."""
    if not explained.by_words or explained.law is None or draft.settings.set_by == "adapter":
        return {}
    seen, field, single = explained.seen, explained.law.hypothesis.field, outside_bits(explained)
    found: dict[Setting, frozenset[Sent]] = {}
    channels = sorted({setting.channel for setting in seen.settings})
    for row, setting in enumerate(seen.settings):
        if draft.bus is None:
            bits = {(name, int(seen.bits[row, place])) for place, name in single.items()}
            found[setting] = frozenset({(CODE, int(field.codes(seen.bits[row : row + 1])[0])), *bits})
        else:
            found[setting] = frozenset(
                ControlWord(segment.latches[channels.index(setting.channel)], segment.bits, value)
                for segment, value in zip(seen.segments, seen.held(row), strict=True)
            )
    return found


def _candidates(explained: Explained, draft: Draft) -> Iterator[tuple[dict[str, Any], Draft]]:
    """Rules from the simplest on, with the constants that the words speak for and with those that were measured.

    What the firmware chooses inside ranges is tried either way first.
    """
    rules: Sequence[str] = ("mixed",) if explained.mixed else RULES
    for rule in rules if explained.by_words else ():
        designed = designed_stages(
            draft.stages, explained, draft.settings.named_gains(), rule=rule,
            codes_per_v=draft.settings.converter.codes_per_v,
        )  # fmt: skip
        variants = [draft] if designed is None else [replace(draft, stages=designed), draft]
        variants += [replace(one, stages=with_every_code(one.stages)) for one in variants]
        for variant in variants:
            for values in itertools.product((0, 1), repeat=len(draft.free_inside)):
                prefer = dict(zip(draft.free_inside, values, strict=True))
                yield {"rule": rule, "code": CODE} | ({"prefer": prefer} if prefer else {}), variant
    table = _code_table(explained, draft)
    if table is not None and not draft.free_inside:
        yield {"rule": "table", "code": CODE, "table": table}, draft


def _code_table(explained: Explained, draft: Draft) -> dict[str, list[int]] | None:
    """The code of each position, where every one was seen."""
    law = explained.law
    if law is None or draft.settings.fine is None:
        return None
    codes = law.hypothesis.field.codes(explained.seen.bits)
    table: dict[str, list[int]] = {}
    for index, part in enumerate(draft.ranges):
        own = {s.fine: int(codes[row]) for row, s in enumerate(explained.seen.settings) if s.coarse == index}
        if not explained.by_words:
            # The position stands for the word, so those that nobody measured have theirs as well.
            own = {fine: fine + 1 for fine in range(draft.settings.fine.count)}
        if len(own) < draft.settings.fine.count:
            return None
        table[part.name] = [own[fine] for fine in range(draft.settings.fine.count)]
    return table


def _tried(draft: Draft, firmware: Mapping[str, Any], seen: Mapping[Setting, frozenset[Sent]]) -> Rule:
    device = validate(DeviceFile, draft.tables(firmware), file=FILE)
    law = build(device, file=FILE)
    wrong = [law.predict(setting).label for setting, want in seen.items() if _sent(law, setting, draft) != want]
    return Rule(
        firmware=firmware, right=len(seen) - len(wrong), seen=len(seen), wrong=tuple(wrong), draft=draft,
        device=device, law=law,
    )  # fmt: skip


def _sent(law: GainLaw, setting: Setting, draft: Draft) -> frozenset[Sent]:
    state = law.predict(setting).state
    if draft.bus is not None:
        return frozenset({state.word, *state.more})
    return frozenset(control for control in state.controls if control[0] != UNSEEN)
