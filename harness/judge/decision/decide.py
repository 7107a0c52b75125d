"""A number, its uncertainty and its limits: PASS, FAIL or INCONCLUSIVE."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from harness.errors import NotFinite
from harness.judge.decision.guard_band import guard_band
from harness.judge.decision.guarded import guarded
from harness.judge.decision.managed import managed
from harness.judge.decision.request import Request, Rule
from harness.judge.decision.simple import simple
from harness.values import Outcome

DECISION_RULES: Mapping[str, Rule] = MappingProxyType(
    {"simple": simple, "guarded": guarded, "guard-band": guard_band, "managed": managed}
)
"""Rules by the name that a limits file uses."""

GOOD_TUR_RATIO = 4.0
"""Below this a decision carries a warning."""
LEAST_TUR_RATIO = 1.0
"""Below this the measurement cannot tell good from bad, and no rule may say that it can."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What a number came out as, in the unit of the limits throughout."""

    outcome: Outcome
    rule: str
    guard: float
    """Guard band w that was used."""
    acceptance: tuple[float, float] | None
    """PASS from the first to the second, both included, infinite on an open side; None where nothing can pass."""
    rejection: tuple[float, float]
    """FAIL below the first and above the second, infinite on an open side."""
    margin: float
    """Distance to the nearest limit, positive inside."""
    tur_ratio: float | None
    """None with one limit; infinity without uncertainty."""
    warning: str
    """Empty, or what is wrong with the measurement's own power."""
    reason: str
    """Empty for PASS; else where the number lies."""


def decide_by(rule: str, value: float, request: Request) -> Decision:
    """Whether a number meets its limits under a rule.

    Args:
        rule: a name of DECISION_RULES.
        value: the number, in the unit of the limits.
        request: limits, uncertainty and what the rule needs, same unit.
    Returns:
        PASS inside the limits by the guard band or more, FAIL outside by more than it, else INCONCLUSIVE. With TUR
        below 1 no number passes, whatever the rule, and only one beyond a limit by more than U (or a wider w) fails.
    Raises:
        NotFinite: the number is NaN or infinite.
        KeyError: the rule is not in DECISION_RULES.
    Source:
        JCGM 106:2012, 8.2 and 8.3; ILAC-G8:09/2019; TUR of 4: common practice and ANSI/NCSL Z540.3.
    """
    if not math.isfinite(value):
        raise NotFinite(
            f"decision: value is {value!r}; allowed is a finite number: a bad reading is INVALID, not judged"
        )
    guard = DECISION_RULES[rule](request)
    low = -math.inf if request.low is None else request.low
    high = math.inf if request.high is None else request.high
    tur_ratio = request.tur_ratio
    powerless = tur_ratio is not None and tur_ratio < LEAST_TUR_RATIO
    beyond = max(guard, request.expanded) if powerless else guard
    rejection = (low - beyond, high + beyond)
    accepts = not powerless and low + guard <= high - guard
    acceptance = (low + guard, high - guard) if accepts else None
    if acceptance is not None and acceptance[0] <= value <= acceptance[1]:
        outcome = Outcome.PASS
    else:
        outcome = Outcome.INCONCLUSIVE if rejection[0] <= value <= rejection[1] else Outcome.FAIL
    return Decision(
        outcome=outcome,
        rule=rule,
        guard=guard,
        acceptance=acceptance,
        rejection=rejection,
        margin=min(value - low, high - value),
        tur_ratio=tur_ratio,
        warning=_warning(tur_ratio, request),
        reason="" if outcome is Outcome.PASS else _reason(outcome, value, request, beyond, powerless=powerless),
    )


def _warning(tur_ratio: float | None, request: Request) -> str:
    if tur_ratio is None or tur_ratio >= GOOD_TUR_RATIO:
        return ""
    said = f"TUR {tur_ratio:.2g} (limit over U = {request.expanded:.3g})"
    if tur_ratio < LEAST_TUR_RATIO:
        return f"{said} is below {LEAST_TUR_RATIO:g}: the measurement cannot tell good from bad; mend it, not the limit"
    return f"{said} is below {GOOD_TUR_RATIO:g}"


def _reason(outcome: Outcome, value: float, request: Request, beyond: float, *, powerless: bool) -> str:
    allowed = " to ".join(f"{edge:+.4g}" for edge in (request.low, request.high) if edge is not None)
    side = (
        ""
        if request.low is not None and request.high is not None
        else ("at least " if request.high is None else "at most ")
    )
    said = f"{value:+.4g}, allowed {side}{allowed}"
    if outcome is Outcome.FAIL:
        return said
    if powerless:
        weak = f"U = {request.expanded:.3g}, TUR below {LEAST_TUR_RATIO:g}"
        return f"{said}: the measurement has no power to decide ({weak})"
    return f"{said}: within the guard band of {beyond:.3g}"
