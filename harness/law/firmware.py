"""The firmware's rules for turning a wanted gain into controls; a registry like that of the stages."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

from harness.law.path import SignalPath
from harness.law.stages import Controls

TIE_DIGITS = 9
"""Decimals of the exact code that count: half-way codes must not depend on the rounding of a product of floats."""

Rule = Callable[[SignalPath, str, Sequence[Controls], float], "dict[str, str | int] | None"]
"""Path, name of the code's control, the other controls in order of preference, wanted codes/V -> all controls."""


def nearest_code(
    path: SignalPath, code_control: str, candidates: Sequence[Controls], wanted_codes_per_v: float
) -> dict[str, str | int] | None:
    """Which controls a firmware picks that takes the code nearest to the wanted gain.

    The first candidate whose nearest code is legal is taken, even if a later one would come nearer.

    Args:
        path: the signal path.
        code_control: the control that holds the code.
        candidates: values of all other controls, in order of preference.
        wanted_codes_per_v: wanted hardware gain, codes a volt at the input, > 0.
    Returns:
        all controls, the code included; None when no candidate has a legal nearest code, or the control is not the
        code of exactly one stage.
    Raises:
        UsageError: a candidate lacks a control or has a value that a stage cannot take.
    Source:
        common practice for tables of gain codes; half-way codes go up.
    """
    stage = path.code_stage(code_control)
    if stage is None:
        return None
    legal = path.controls()[code_control].values
    for candidate in candidates:
        exact_code = path.exact_code(stage, candidate, wanted_codes_per_v)
        if not math.isfinite(exact_code):
            continue
        code = math.floor(round(exact_code, TIE_DIGITS) + 0.5)
        if code in legal:
            return {**candidate, code_control: code}
    return None


RULES: Mapping[str, Rule] = MappingProxyType({"nearest-code": nearest_code})
"""By the word after `rule =` in [firmware]."""
