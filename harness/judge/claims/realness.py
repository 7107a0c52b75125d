"""Claim: settings and steps are hardware, or the arithmetic that the device file declares."""

from __future__ import annotations

import math

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_claim
from harness.judge.realness import Found
from harness.judge.steps import Step
from harness.values import Judgement, Outcome, Prediction, Realness, Setting

DECLARED_RATIO = 0.02
"""How near an arithmetic part must come to the declared factor: two gains, each as good as a coarse step's limit."""


def factor_outcome(found: Found, declared_ratio: float) -> Outcome:
    """Whether an arithmetic part is the declared one.

    Args:
        found: an arithmetic part and how well it is known.
        declared_ratio: by the device file, > 0, not 1.
    Returns:
        PASS or FAIL where the uncertainty of what was found leaves no other answer; INCONCLUSIVE where it does.
    Source:
        decision rule of a guard band as wide as the uncertainty (ISO 14253-1, from memory).
    """
    off = abs(math.log(found.ratio / declared_ratio))
    if off + found.u_ratio <= DECLARED_RATIO:
        return Outcome.PASS
    return Outcome.FAIL if off - found.u_ratio > DECLARED_RATIO else Outcome.INCONCLUSIVE


def realness_claim(found: Found, prediction: Prediction) -> Judgement:
    """Whether a setting is as real as the device file says.

    Args:
        found: what it turned out to be.
        prediction: with the declared arithmetic.
    Returns:
        PASS for hardware and for arithmetic of the declared factor, alone or beside hardware; INCONCLUSIVE when
        unproven, or the factor is not known well enough; else FAIL.
    Source:
        design rule: undeclared arithmetic is a failure, declared is noted.
    """
    where, setting = prediction.label, {"setting": prediction.setting}
    declared = prediction.state.arithmetic_ratio
    match found.realness:
        case Realness.HARDWARE:
            return judge_claim("realness", Outcome.PASS, "", **setting)
        case Realness.UNPROVEN:
            text = f"{where}: realness unproven: {found.why}"
            return judge_claim("realness", Outcome.INCONCLUSIVE, text, **setting)
        case Realness.ARITHMETIC | Realness.MIXED:
            called = "gain is arithmetic, " if found.realness is Realness.ARITHMETIC else "mixed: "
            text = f"{where}: {called}{found.why}; {_declared(declared)}"
            return _of_factor(found, declared, text, **setting)
        case _:
            return judge_claim("realness", Outcome.FAIL, f"{where}: {found.realness}: {found.why}", **setting)


def step_realness_claim(step: Step) -> Judgement:
    """Whether a step is as real as the device file says.

    Args:
        step: with what it turned out to be.
    Returns:
        PASS for hardware and for arithmetic of the declared factor, alone or beside hardware; INCONCLUSIVE when
        unproven, or the factor is not known well enough; else FAIL.
    Source:
        design rule: undeclared arithmetic is a failure, declared is noted.
    """
    pair = {"setting": step.upper.setting, "other": step.lower.setting}
    declared = step.upper.state.arithmetic_ratio / step.lower.state.arithmetic_ratio
    found = step.found
    match found.realness:
        case Realness.HARDWARE:
            return judge_claim("realness", Outcome.PASS, "", **pair)
        case Realness.UNPROVEN:
            text = f"{step.where}: realness unproven: {found.why}"
            return judge_claim("realness", Outcome.INCONCLUSIVE, text, **pair)
        case Realness.ARITHMETIC | Realness.MIXED:
            text = f"{step.where}: {found.realness}: {found.why}; {_declared(declared)}"
            return _of_factor(found, declared, text, **pair)
        case _:
            return judge_claim("realness", Outcome.FAIL, f"{step.where}: {found.realness}: {found.why}", **pair)


def _declared(ratio: float) -> str:
    return f"declared ×{ratio:g}" if ratio != 1.0 else "hardware is specified"


def _of_factor(found: Found, declared: float, text: str, **place: Setting) -> Judgement:
    """Undeclared arithmetic fails whatever its factor."""
    outcome = Outcome.FAIL if declared == 1.0 else factor_outcome(found, declared)
    if outcome is Outcome.INCONCLUSIVE:
        known = "is not known" if math.isinf(found.u_ratio) else f"is known to {100.0 * found.u_ratio:.2g} % only"
        text = f"{text}: the factor {known}"
    return judge_claim("realness", outcome, "" if outcome is Outcome.PASS else text, **place)


def _judge(context: Context) -> tuple[Judgement, ...]:
    settings = (
        realness_claim(context.found[setting], item.prediction)
        for setting, item in context.gathered.items()
        if item.final and context.limit("realness", setting) is not None
    )
    steps = (
        step_realness_claim(step) for step in context.steps if context.limit("realness", step.upper.setting) is not None
    )
    return (*settings, *steps)


REALNESS = ClaimKind(
    item="realness", unit="", scope=Scope.SETTING, needs=frozenset({Need.READINGS, Need.WORDS}), judge=_judge
)
"""Also about steps; without words it says that they are unproven."""
