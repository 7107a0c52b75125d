"""Known departures of single bits of a code: what the gain does where a bit comes in, and what a bit weighs."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from harness.law.stages.kind import Flaw, Floats

BIT = re.compile(r"bit_(0|[1-9]\d*)")
MOST_PERCENT = 50.0
"""More is another bit, not a departure of this one."""


def bit_flaws(key: str, percents: Mapping[str, float] | None, bits: int) -> tuple[Flaw, ...]:
    """Which entries name no bit of the code, or are beyond what a departure can be.

    Args:
        key: of the file.
        percents: by bit, such as bit_7.
        bits: of the code.
    Returns:
        one flaw for each.
    Source:
        none: a check of content.
    """
    found = []
    for name, percent in (percents or {}).items():
        match = BIT.fullmatch(name)
        if match is None or int(match[1]) >= bits:
            found.append(Flaw(f"{key}.{name}", "no bit of the code", f"bit_0 to bit_{bits - 1}"))
        elif abs(percent) > MOST_PERCENT:
            found.append(Flaw(f"{key}.{name}", f"{percent:g}", f"-{MOST_PERCENT:g} to {MOST_PERCENT:g}"))
    return tuple(found)


def carry_ratio(percents: Mapping[str, float] | None, code: npt.NDArray[np.int64]) -> Floats:
    """The factor that bits make where they are set.

    Args:
        percents: by bit.
        code: any shape.
    Returns:
        same shape; 1 without entries.
    Source:
        product of the factors.
    """
    found = np.ones(code.shape)
    for name, percent in (percents or {}).items():
        found = found * (1.0 + percent / 100.0 * (code >> _place(name) & 1))
    return found


def weight_steps(percents: Mapping[str, float] | None, code: npt.NDArray[np.int64]) -> Floats:
    """What the weights of bits add to a code, code steps.

    Args:
        percents: of its weight, by bit.
        code: any shape.
    Returns:
        same shape; 0 without entries.
    Source:
        sum of the bits' weights.
    """
    found = np.zeros(code.shape)
    for name, percent in (percents or {}).items():
        found = found + percent / 100.0 * 2.0 ** _place(name) * (code >> _place(name) & 1)
    return found


def _place(name: str) -> int:
    return int(name.removeprefix("bit_"))
