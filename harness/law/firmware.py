"""The firmware's rules for turning wanted gains into controls; a registry like that of the stages."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from harness.law.path import SignalPath
from harness.law.stages import Controls

TIE_DIGITS = 9
"""Decimals of the exact code that count: half-way codes must not depend on the rounding of a product of floats."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What a firmware is asked for: the fine positions of one range."""

    path: SignalPath
    code: str
    """The control that holds the code."""
    codes: tuple[int, ...]
    """The only codes that it uses; empty for every legal one."""
    candidates: tuple[Controls, ...]
    """All other controls, in order of preference."""
    wanted_codes_per_v: tuple[float, ...]
    """Wanted hardware gain of each fine position, codes a volt at the input, > 0."""
    table: tuple[int | str, ...] = ()
    """Code of each fine position, for the rule that looks it up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """What it picks for one fine position."""

    controls: Mapping[str, str | int]
    """All of them, the code included."""
    remainder_ratio: float = 1.0
    """Gain that is made up by arithmetic."""


Rule = Callable[[Request], "tuple[Chosen | None, ...]"]
"""One choice per fine position, None where no code reaches it."""


def nearest_code(request: Request) -> tuple[Chosen | None, ...]:
    """Which controls a firmware picks that takes the code nearest to the wanted gain.

    The first candidate whose nearest code is legal is taken, even if a later one would come nearer.

    Args:
        request: wanted gains and what there is to choose from.
    Returns:
        one choice per fine position; None where no candidate has a legal nearest code, or the control is not the code
        of exactly one stage.
    Raises:
        UsageError: a candidate lacks a control or has a value that a stage cannot take.
    Source:
        common practice for tables of gain codes; half-way codes go up.
    """
    return _first_legal(request, lambda exact, falling: math.floor(exact + 0.5))


def floor_code(request: Request) -> tuple[Chosen | None, ...]:
    """Which controls a firmware picks that never exceeds the wanted gain.

    Args:
        request: as for `nearest_code`.
    Returns:
        one choice per fine position: the code with the most gain that is not above the wanted one.
    Raises:
        UsageError: as `nearest_code`.
    Source:
        common practice: truncation instead of rounding.
    """
    return _first_legal(request, lambda exact, falling: math.ceil(exact) if falling else math.floor(exact))


def mixed(request: Request) -> tuple[Chosen | None, ...]:
    """Which controls a firmware picks that takes the nearest code and makes up the rest by arithmetic.

    Args:
        request: as for `nearest_code`.
    Returns:
        one choice per fine position, with the arithmetic remainder.
    Raises:
        UsageError: as `nearest_code`.
    Source:
        common practice: hardware steps are coarse, the display has the exact sensitivity.
    """
    found: list[Chosen | None] = []
    for chosen, wanted_codes_per_v in zip(nearest_code(request), request.wanted_codes_per_v, strict=True):
        if chosen is not None:
            gain_codes_per_v = request.path.gain_codes_per_v(chosen.controls)
            chosen = Chosen(controls=chosen.controls, remainder_ratio=wanted_codes_per_v / gain_codes_per_v)
        found.append(chosen)
    return tuple(found)


def looked_up(request: Request) -> tuple[Chosen | None, ...]:
    """Which controls a firmware picks that has a table of codes.

    Args:
        request: with a table as long as there are fine positions; the first candidate is taken.
    Returns:
        one choice per fine position.
    Source:
        the device file.
    """
    return tuple(Chosen(controls={**request.candidates[0], request.code: code}) for code in request.table)


def _first_legal(request: Request, settle: Callable[[float, bool], int]) -> tuple[Chosen | None, ...]:
    stage = request.path.code_stage(request.code)
    found: list[Chosen | None] = [None] * len(request.wanted_codes_per_v)
    if stage is None:
        return tuple(found)
    legal = request.path.controls()[request.code].values
    wanted = np.asarray(request.wanted_codes_per_v, dtype=np.float64)
    for candidate in request.candidates:
        exact = request.path.exact_codes(stage, candidate, wanted)
        for place, code in enumerate(exact):
            if found[place] is None and math.isfinite(code):
                number = settle(round(float(code), TIE_DIGITS), stage.falling)
                number = _allowed(number, float(code), request, settle, stage.falling)
                if number in legal:
                    found[place] = Chosen(controls={**candidate, request.code: number})
    return tuple(found)


def _allowed(number: int, exact: float, request: Request, settle: Callable[[float, bool], int], falling: bool) -> int:
    """The code itself, or where only some are used the one of them that stands for it."""
    if not request.codes:
        return number
    ordered: Sequence[int] = sorted(request.codes)
    place = float(np.interp(exact, ordered, range(len(ordered))))
    return ordered[min(max(settle(round(place, TIE_DIGITS), falling), 0), len(ordered) - 1)]


RULES: Mapping[str, Rule] = MappingProxyType(
    {"nearest-code": nearest_code, "floor": floor_code, "table": looked_up, "mixed": mixed}
)
"""By the word after `rule =` in [firmware]."""
