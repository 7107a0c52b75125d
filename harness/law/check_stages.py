"""Whether stages stand in a row, and whether their tolerances and corrections make sense."""

from __future__ import annotations

from collections.abc import Sequence

from harness.config import Stage
from harness.law.corrections import parameters_of
from harness.law.findings import Findings
from harness.law.stages import KINDS, SETTING, Parameter, StageKind

DOMAINS = ("analog", "converter", "arithmetic")
BITS = "bits"
"""Key under `tolerance` that stands for every bit alone."""
SCALE = "scale"
"""What a stage's tolerance_percent is called inside."""


def in_order(stages: Sequence[Stage], findings: Findings) -> tuple[int, ...]:
    """In which order the signal passes the stages.

    Args:
        stages: as in the file; each stands behind the one it names with `after`, else behind the one above it.
        findings: takes stages that name one that does not exist, two behind one, circles, gain in front of the
            converter that would stand behind it.
    Returns:
        indices, input first; as in the file when the order makes no sense.
    Source:
        none: a check of content.
    """
    names = [stage.name for stage in stages]
    before = {index: _in_front(stages, names, index, findings) for index in range(len(stages))}
    followers: dict[int | None, int] = {}
    for index, front in before.items():
        if front in followers:
            whom = "the input" if front is None else repr(names[front])
            where = "stand first in the file, or name the stage in front with after"
            if front is not None:
                where = f"one stage behind each; {names[followers[front]]!r} is there already"
            findings.add(f"stage[{index}].after", f"a second stage behind {whom}", where)
        followers.setdefault(front, index)
    order: list[int] = []
    place = followers.get(None)
    while place is not None:
        order.append(place)
        place = followers.get(place)
    lost = [index for index in before if index not in order]
    if lost and not findings.about("after"):
        ring = ", ".join(repr(names[index]) for index in lost)
        findings.add(f"stage[{lost[0]}].after", f"a circle: {ring}", "a row that begins at the input")
    if lost:
        return tuple(range(len(stages)))
    _check_domains(stages, order, findings)
    return tuple(order)


def _in_front(stages: Sequence[Stage], names: Sequence[str], index: int, findings: Findings) -> int | None:
    after = stages[index].after
    if after is None:
        return index - 1 if index else None
    if after == "input":
        return None
    if after not in names:
        allowed = f"input, or the name of a stage: {', '.join(names)}"
        findings.add(f"stage[{index}].after", f"{after!r}, a missing stage", allowed)
        return index - 1 if index else None
    return names.index(after)


def _check_domains(stages: Sequence[Stage], order: Sequence[int], findings: Findings) -> None:
    furthest = 0
    for index in order:
        kind = KINDS.get(stages[index].kind)
        if kind is None:
            continue
        domain = DOMAINS.index(kind.domain)
        if domain < furthest:
            allowed = f"in front of every stage of {DOMAINS[furthest]} gain"
            findings.add(f"stage[{index}]", f"{stages[index].name!r} behind them", allowed)
        furthest = max(furthest, domain)


def check_tolerances(stage: Stage, law: StageKind, index: int, findings: Findings) -> dict[str, float]:
    """Half widths of a stage by parameter, each tolerance of `bits` spread over the bits.

    Args:
        stage: table of the file.
        law: the same, as its kind reads it.
        index: of the stage, from 0.
        findings: takes keys that name no parameter, and tolerances that would let the gain be zero or negative.
    Returns:
        half width by parameter, in the parameter's unit.
    Source:
        none: a check of content.
    """
    known = {parameter.name: parameter for parameter in all_parameters(stage, law)}
    bits = [name for name, parameter in known.items() if parameter.weight]
    exact = law.domain == "arithmetic"
    if exact and (stage.tolerance or stage.tolerance_percent is not None):
        findings.add(f"stage[{index}].tolerance", "a tolerance", "none: arithmetic is exact")
        return {}
    found: dict[str, float] = {}
    if stage.tolerance_percent is not None:
        found[SCALE] = stage.tolerance_percent
        if stage.tolerance_percent >= 100.0:
            findings.add(f"stage[{index}].tolerance_percent", f"{stage.tolerance_percent:g}", _POSITIVE)
    for name, size in stage.tolerance.items():
        key = f"stage[{index}].tolerance.{name}"
        if name not in known and not (name == BITS and bits):
            allowed = ", ".join([*known, *([BITS] if bits else [])])
            findings.add(key, "no parameter of the stage", f"one of {allowed}")
            continue
        found.update(dict.fromkeys(bits, size) if name == BITS else {name: size})
        unit = "percent" if name == BITS else known[name].unit
        lowest = getattr(law, "lowest_code", 1)
        if unit == "percent" and size >= 100.0:
            findings.add(key, f"{size:g}", _POSITIVE)
        elif unit == "lsb" and size >= lowest:
            allowed = f"less than the lowest code, {lowest}: the gain must stay positive"
            findings.add(key, f"{size:g}", allowed)
    return found


_POSITIVE = "less than 100: the gain must stay positive"


def check_positions(stage: Stage, law: StageKind, index: int, findings: Findings) -> None:
    """Whether the positions that corrections name are some that the stage has.

    Args:
        stage: table of the file.
        law: the same, as its kind reads it.
        index: of the stage, from 0.
        findings: takes names of no position.
    Source:
        none: a check of content.
    """
    names = [value for control in law.needs() if control.named for value in control.values]
    for name in stage.corrections.positions_percent:
        if name not in names:
            allowed = f"one of {', '.join(map(str, names))}" if names else "none: the stage has no named positions"
            findings.add(f"stage[{index}].corrections.positions_percent.{name}", "no position of the stage", allowed)


def all_parameters(stage: Stage, law: StageKind) -> tuple[Parameter, ...]:
    """Which parameters of a stage may bear a tolerance.

    Args:
        stage: table of the file.
        law: the same, as its kind reads it.
    Returns:
        those of its kind, of its corrections that are given, and of every kind.
    Source:
        none: a look-up.
    """
    own = law.parameters()
    names = {parameter.name for parameter in own}
    return (*own, *(p for p in parameters_of(stage.corrections) if p.name not in names), *SETTING)
