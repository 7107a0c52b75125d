"""The layout of the word: number, single bits, and bits that never moved."""

from __future__ import annotations

import itertools

from harness.learn.explain import Explained, Moves, Segment
from harness.learn.write.parts import CODE, FieldPart, outside_bits

NEVER = "never moved: not exercised by these settings, so its meaning is unknown"


def word_fields(explained: Explained) -> tuple[tuple[FieldPart, ...], ...]:
    """The fields of each gain device's word, first on the wire first.

    Args:
        explained: with a law and words.
    Returns:
        fields by gain device of a channel; empty without words or a law.
    Source:
        none: the same content.
    """
    if explained.law is None or not explained.by_words:
        return ()
    return tuple(_of_segment(explained, segment) for segment in explained.seen.segments)


def _of_segment(explained: Explained, segment: Segment) -> tuple[FieldPart, ...]:
    law = explained.law
    if law is None:
        return ()
    code, single = law.hypothesis.field, outside_bits(explained)
    fields: list[FieldPart] = []
    for is_code, places in itertools.groupby(
        range(segment.start, segment.start + segment.bits), key=lambda place: place in code.places
    ):
        if is_code:
            fields.append(_number(explained))
            continue
        for name, run in itertools.groupby(places, key=lambda place: single.get(place, "")):
            members = list(run)
            if name:
                fields.append(FieldPart(bits=1, control=name))
                continue
            value = int("".join(str(explained.movement.constant[place]) for place in members), 2)
            fields.append(FieldPart(bits=len(members), fill=value, note=NEVER))
    return tuple(fields)


def _number(explained: Explained) -> FieldPart:
    law = explained.law
    if law is None:
        return FieldPart(bits=0)
    code = law.hypothesis.field
    still = [place for place in code.places if explained.movement.bits[place] is Moves.NEVER]
    note = f"of it never moved: {', '.join(f'bit {place}' for place in still)}" if still else ""
    return FieldPart(bits=code.bits, control=CODE, least_first=code.least_first, note=note)
