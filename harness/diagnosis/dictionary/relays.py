"""Entries for relays, switched positions and pre-gain bits that are not where they should be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.view import Integers, View
from harness.law.stages import Control, StageKind

PREGAIN = "pregain-bit"
"""Kind of stage with one switched gain."""
MOST_POSITIONS = 8
"""Beyond, a stage is a table of steps and no bank of relays."""


def relay_hypotheses(view: View) -> Iterator[Hypothesis]:
    """What a position that is not taken would do.

    Args:
        view: of the channel.
    Returns:
        entries for stages with named positions and for pre-gain bits.
    Source:
        the law with other positions than planned.
    """
    controls = view.law.path.controls()
    for stage in view.law.path.hardware():
        for name in (need.name for need in stage.law.needs()):
            if name == view.law.code_control:
                continue
            control = controls[name]
            if control.named and 2 <= len(control.values) <= MOST_POSITIONS:
                yield from _positions(view, stage.law, control)
            elif stage.law.kind == PREGAIN:
                yield from _pregain(view, name)


def moved(view: View, name: str, numbers: Integers) -> np.ndarray:
    """100·ln(G/L) when one control holds other numbers.

    Args:
        view: of the channel.
        name: of the control.
        numbers: its values as in the law's arrays, shape (n,).
    Returns:
        shape (n,).
    Source:
        the law.
    """
    return view.log_gains_percent({**view.arrays, name: numbers})


def _positions(view: View, law: StageKind, control: Control) -> Iterator[Hypothesis]:
    names = [str(value) for value in control.values]
    rest = _rest(law, control)
    for maps, fault, what in _moves(names, rest, _coils(law, control)):
        table = np.asarray([names.index(maps.get(name, name)) for name in names], dtype=np.int64)
        numbers = table[view.arrays[control.name]]
        if np.array_equal(numbers, view.arrays[control.name]):
            continue
        yield Hypothesis(
            fault=fault,
            what=what,
            pattern_percent=moved(view, control.name, numbers),
            explains=frozenset({"noise", "input-noise", "offset"}),
        )


def _rest(law: StageKind, control: Control) -> str:
    """The position without any coil; without coils the one of gain 1, or the first."""
    for value in control.values:
        if law.coils() and not law.energised({control.name: value}):
            return str(value)
    gains = {str(value): law.gain_ratio({control.name: value}) for value in control.values}
    return min(gains, key=lambda name: abs(gains[name] - 1.0))


def _coils(law: StageKind, control: Control) -> Mapping[str, str]:
    """What drives each position, for people."""
    return {
        str(value): ", ".join(sorted(law.energised({control.name: value}))) or str(value) for value in control.values
    }


def _moves(names: list[str], rest: str, coils: Mapping[str, str]) -> Iterator[tuple[Mapping[str, str], str, str]]:
    others = [name for name in names if name != rest]
    for name in others:
        coil = coils[name] if coils[name] == name else f"relay {coils[name]}, position {name}"
        yield {name: rest}, "relay-not-picking", coil
        yield {rest: name}, "relay-stuck-on", coil
        yield dict.fromkeys(names, name), "relay-stuck-on", f"{coil}, alone"
    for place, first in enumerate(names):
        for second in names[place + 1 :]:
            yield {first: second, second: first}, "relay-drivers-swapped", f"{first} and {second}"


def _pregain(view: View, name: str) -> Iterator[Hypothesis]:
    for level in (0, 1):
        numbers = np.full(view.count, level, dtype=np.int64)
        if np.array_equal(numbers, view.arrays[name]):
            continue
        pattern_percent = moved(view, name, numbers)
        for latched in (None, *_stuck_words(view, name, level)):
            yield Hypothesis(
                fault="pregain-bit-stuck",
                what=f"{name} always {level}",
                pattern_percent=pattern_percent,
                latched=latched,
                explains=frozenset({"noise", "input-noise", "offset"}),
            )


def _stuck_words(view: View, name: str, level: int) -> Iterator[Integers]:
    """The planned words with the field of a control stuck, when the bus can show that."""
    if view.law.words is None or not bool(view.heard.any()):
        return
    layout = view.law.words.of_channel(view.channel)[0].layout
    for field in layout.fields:
        if field.control is not None and field.control.name == name and field.bits == 1:
            mask = np.int64(1 << (layout.bits - field.start - 1))
            yield view.planned | mask if level else view.planned & ~mask
