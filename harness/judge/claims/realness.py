"""Claim: settings and steps are hardware, or the arithmetic that the device file declares."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_claim
from harness.judge.realness import Found
from harness.judge.steps import Step
from harness.values import Judgement, Outcome, Prediction, Realness

DECLARED_RATIO = 0.02
"""How near an arithmetic step must come to the declared factor: two gains, each as good as a coarse step's limit."""


def realness_claim(found: Found, prediction: Prediction) -> Judgement:
    """Whether a setting is as real as the device file says.

    Args:
        found: what it turned out to be.
        prediction: with the declared arithmetic.
    Returns:
        PASS for hardware and for arithmetic of the declared factor, alone or beside hardware; INCONCLUSIVE when
        unproven; else FAIL.
    Source:
        design rule: undeclared arithmetic is a failure, declared is noted.
    """
    declared = prediction.state.arithmetic_ratio
    setting = prediction.setting
    match found.realness:
        case Realness.HARDWARE:
            return judge_claim("realness", Outcome.PASS, "", setting=setting)
        case Realness.UNPROVEN:
            text = f"{prediction.label}: realness unproven: {found.why}"
            return judge_claim("realness", Outcome.INCONCLUSIVE, text, setting=setting)
        case Realness.ARITHMETIC | Realness.MIXED if declared != 1.0 and abs(found.ratio / declared - 1.0) < 0.01:
            return judge_claim("realness", Outcome.PASS, "", setting=setting)
        case Realness.ARITHMETIC:
            said = f"declared ×{declared:g}" if declared != 1.0 else "hardware is specified"
            text = f"{prediction.label}: gain is arithmetic, {found.why}; {said}"
            return judge_claim("realness", Outcome.FAIL, text, setting=setting)
        case _:
            text = f"{prediction.label}: {found.realness}: {found.why}"
            return judge_claim("realness", Outcome.FAIL, text, setting=setting)


def step_realness_claim(step: Step) -> Judgement:
    """Whether a step is as real as the device file says.

    Args:
        step: with what it turned out to be.
    Returns:
        PASS for hardware, for arithmetic of the declared factor and for a declared mixture; INCONCLUSIVE when unproven;
        else FAIL.
    Source:
        design rule: undeclared arithmetic is a failure, declared is noted.
    """
    pair = {"setting": step.upper.setting, "other": step.lower.setting}
    declared = step.upper.state.arithmetic_ratio / step.lower.state.arithmetic_ratio
    found = step.found
    match found.realness:
        case Realness.HARDWARE:
            return judge_claim("realness", Outcome.PASS, "", **pair)
        case Realness.ARITHMETIC if declared != 1.0 and abs(found.ratio / declared - 1.0) < DECLARED_RATIO:
            return judge_claim("realness", Outcome.PASS, "", **pair)
        case Realness.MIXED if declared != 1.0:
            # Its arithmetic part is judged at the setting, among those of the same word; its size by the step's limit.
            return judge_claim("realness", Outcome.PASS, "", **pair)
        case Realness.UNPROVEN:
            return judge_claim(
                "realness", Outcome.INCONCLUSIVE, f"{step.where}: realness unproven: {found.why}", **pair
            )
        case _:
            return judge_claim("realness", Outcome.FAIL, f"{step.where}: {found.realness}: {found.why}", **pair)


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
