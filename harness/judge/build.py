"""The content check of a limits file: items that exist, with the numbers they need."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from harness.config import LimitItem, LimitsFile
from harness.errors import ConfigError, Problem
from harness.judge.claims import ITEMS
from harness.judge.limit_set import LimitSet, Underneath, overlap


def build(
    limits: LimitsFile,
    *,
    file: str,
    parameters: Collection[str] | None = None,
    channels: int | None = None,
    coarse_names: Sequence[str] | None = None,
    underneath: Mapping[int, Underneath] | None = None,
) -> LimitSet:
    """The limits of a run.

    Args:
        limits: the file, shape already checked.
        file: its name, for messages.
        parameters: names that the device's law can fit; None leaves names unchecked.
        channels: number of channels of the device; None leaves the scopes' channels unchecked.
        coarse_names: of the device's ranges, in order; None leaves the scopes' ranges unchecked.
        underneath: the hardware range of each declared arithmetic one, by coarse index.
    Returns:
        the rows, each with its rule; limits on parameters under `parameter NAME`.
    Raises:
        ConfigError: all unknown items, rows that hold at the same place, scopes outside the device, wrong units,
            missing or needless numbers.
    Source:
        none: a check of content.
    """
    problems: list[Problem] = []
    rows: list[tuple[str, LimitItem]] = []
    for index, item in enumerate(limits.limit):
        key = f"limit[{index}]"
        unit = ITEMS.get(item.item)
        if unit is None:
            problems.append(
                Problem(file=file, key=f"{key}.item", got=repr(item.item), allowed="one of " + ", ".join(sorted(ITEMS)))
            )
            continue
        name = f"parameter {item.parameter}" if item.item == "parameter" else item.item
        again = [row for other, row in rows if other == name and overlap(row, item)]
        if again:
            allowed = "each item once for everywhere, and rows with channels or coarse that do not overlap"
            problems.append(Problem(file=file, key=f"{key}.item", got=f"{name!r} again", allowed=allowed))
        problems.extend(_scope_problems(item, key, file, channels, coarse_names))
        problems.extend(_parameter_problems(item, f"{key}.parameter", file, parameters))
        if item.apart is not None and item.item != "fine-step":
            allowed = "nothing here: only fine-step has positions apart"
            problems.append(Problem(file=file, key=f"{key}.apart", got=str(item.apart), allowed=allowed))
        if item.unit != unit:
            problems.append(Problem(file=file, key=f"{key}.unit", got=repr(item.unit), allowed=repr(unit)))
        has_numbers = item.low is not None or item.high is not None
        if has_numbers != bool(unit):
            allowed = "low, high or both" if unit else "no low and no high: the item is met or not"
            got = "numbers" if has_numbers else "no number"
            problems.append(Problem(file=file, key=key, got=got, allowed=allowed))
        rows.append((name, item.model_copy(update={"rule": item.rule or limits.rule})))
    if problems:
        raise ConfigError(tuple(problems))
    return LimitSet(rows, coarse_names=coarse_names or (), underneath=underneath)


def _scope_problems(
    item: LimitItem, key: str, file: str, channels: int | None, coarse_names: Sequence[str] | None
) -> list[Problem]:
    problems = []
    outside = [c for c in item.channels if channels is not None and not 1 <= c <= channels]
    if outside:
        got = ", ".join(map(str, outside))
        problems.append(Problem(file=file, key=f"{key}.channels", got=got, allowed=f"1 to {channels}"))
    unknown = [name for name in item.coarse if coarse_names is not None and name not in coarse_names]
    if unknown:
        got, allowed = ", ".join(map(repr, unknown)), "ranges of the device: " + ", ".join(coarse_names or ())
        problems.append(Problem(file=file, key=f"{key}.coarse", got=got, allowed=allowed))
    if item.item == "parameter" and item.coarse:
        problems.append(
            Problem(
                file=file, key=f"{key}.coarse", got="ranges", allowed="none: a parameter belongs to a whole channel"
            )
        )
    return problems


def _parameter_problems(item: LimitItem, key: str, file: str, known: Collection[str] | None) -> list[Problem]:
    if item.item != "parameter":
        return [Problem(file=file, key=key, got=repr(item.parameter), allowed="nothing here")] if item.parameter else []
    if known is not None and item.parameter not in known:
        allowed = "a fitted parameter of the device: " + ", ".join(sorted(known))
        return [Problem(file=file, key=key, got=repr(item.parameter), allowed=allowed)]
    return []
