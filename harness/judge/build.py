"""The content check of a limits file: items that exist, with the numbers they need."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType

from harness.config import LimitItem, LimitsFile
from harness.errors import ConfigError, Problem

RULES: Mapping[str, str] = MappingProxyType(
    {
        "gain": "percent",
        "fine-step": "percent",
        "coarse-step": "percent",
        "residual": "percent",
        "parameter": "percent",
        "monotonic": "",
        "word": "",
        "realness": "",
    }
)
"""Items and their unit; an item without a unit takes no numbers."""


def build(limits: LimitsFile, *, file: str, parameters: Collection[str] | None = None) -> dict[str, LimitItem]:
    """The limits by item.

    Args:
        limits: the file, shape already checked.
        file: its name, for messages.
        parameters: names that the device's law can fit; None leaves names unchecked.
    Returns:
        one entry per item; limits on parameters under `parameter NAME`.
    Raises:
        ConfigError: all unknown or repeated items, wrong units, missing or needless numbers.
    Source:
        none: a check of content.
    """
    problems: list[Problem] = []
    found: dict[str, LimitItem] = {}
    for index, item in enumerate(limits.limit):
        key = f"limit[{index}]"
        unit = RULES.get(item.item)
        if unit is None:
            problems.append(
                Problem(file=file, key=f"{key}.item", got=repr(item.item), allowed="one of " + ", ".join(sorted(RULES)))
            )
            continue
        name = f"parameter {item.parameter}" if item.item == "parameter" else item.item
        if name in found:
            problems.append(Problem(file=file, key=f"{key}.item", got=f"{name!r} again", allowed="each item once"))
        problems.extend(_parameter_problems(item, f"{key}.parameter", file, parameters))
        if item.unit != unit:
            problems.append(Problem(file=file, key=f"{key}.unit", got=repr(item.unit), allowed=repr(unit)))
        has_numbers = item.low is not None or item.high is not None
        if has_numbers != bool(unit):
            allowed = "low, high or both" if unit else "no low and no high: the item is met or not"
            got = "numbers" if has_numbers else "no number"
            problems.append(Problem(file=file, key=key, got=got, allowed=allowed))
        found[name] = item
    if problems:
        raise ConfigError(tuple(problems))
    return found


def _parameter_problems(item: LimitItem, key: str, file: str, known: Collection[str] | None) -> list[Problem]:
    if item.item != "parameter":
        return [Problem(file=file, key=key, got=repr(item.parameter), allowed="nothing here")] if item.parameter else []
    if known is not None and item.parameter not in known:
        allowed = "a fitted parameter of the device: " + ", ".join(sorted(known))
        return [Problem(file=file, key=key, got=repr(item.parameter), allowed=allowed)]
    return []
