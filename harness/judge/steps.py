"""Steps between neighbouring settings: size, direction, realness."""

from __future__ import annotations

import math
from collections.abc import Mapping

from harness.config import LimitItem
from harness.judge.limits import judge_claim, judge_number
from harness.judge.realness import Evidence, Found, of_step
from harness.judge.verdict import worst_outcome
from harness.values import Judgement, Outcome, Prediction, Realness, StepResult

DECLARED_RATIO = 0.02
"""How near an arithmetic step must come to the declared factor: two gains, each as good as a coarse step's limit."""


def judge_step(
    lower: tuple[Prediction, Evidence],
    upper: tuple[Prediction, Evidence],
    *,
    kind: str,
    limits: Mapping[str, LimitItem],
) -> tuple[StepResult, tuple[Judgement, ...]]:
    """Everything decided about one step.

    Args:
        lower: prediction and evidence of the setting of less gain by the ladder's order.
        upper: of its neighbour.
        kind: fine or coarse.
        limits: items by name.
    Returns:
        the row, and the claims: size, monotonic (fine only), realness. A step with a missing side gives a row without
        claims: the missing setting already counts.
    Source:
        common practice, no source: source errors are common to both sides, so a step bears a tighter limit.
    """
    (low_plan, low_seen), (high_plan, high_seen) = lower, upper
    predicted_ratio = high_plan.gain_codes_per_v / low_plan.gain_codes_per_v
    where = f"{low_plan.label} to {high_plan.label}"
    found = of_step(low_seen, high_seen)
    measured_ratio = residual_percent = None
    claims: list[Judgement] = []
    if low_seen.gain_codes_per_v is not None and high_seen.gain_codes_per_v is not None:
        measured_ratio = high_seen.gain_codes_per_v / low_seen.gain_codes_per_v
        residual_percent = 100.0 * math.log(measured_ratio / predicted_ratio)
        pair = {"setting": high_plan.setting, "other": low_plan.setting}
        limit = limits.get(f"{kind}-step")
        if limit is not None:
            claims.append(
                judge_number(limit, residual_percent, where=where, setting=high_plan.setting, other=low_plan.setting)
            )
        if kind == "fine" and "monotonic" in limits:
            rises = measured_ratio > 1.0 or predicted_ratio <= 1.0
            seen = f"×{measured_ratio:.5g}, planned ×{predicted_ratio:.5g}"
            text = "" if rises else f"{where}: gain does not rise ({seen})"
            claims.append(judge_claim("monotonic", Outcome.PASS if rises else Outcome.FAIL, text, **pair))
        if "realness" in limits:
            claims.append(_realness(found, low_plan, high_plan, where))
    # A step of which nothing is required is shown, not judged; a missing side counts at its setting.
    outcome = worst_outcome([claim.outcome for claim in claims]) if claims else Outcome.PASS
    reasons = [claim.reason for claim in claims if claim.outcome is outcome and claim.reason]
    return (
        StepResult(
            lower=low_plan.setting,
            upper=high_plan.setting,
            kind=kind,
            outcome=outcome,
            measured_ratio=measured_ratio,
            predicted_ratio=predicted_ratio,
            residual_percent=residual_percent,
            realness=found.realness,
            word_changed=low_seen.words != high_seen.words if low_seen.known and high_seen.known else None,
            reason=reasons[0] if reasons else found.why,
        ),
        tuple(claims),
    )


def _realness(found: Found, lower: Prediction, upper: Prediction, where: str) -> Judgement:
    pair = {"setting": upper.setting, "other": lower.setting}
    declared = upper.state.arithmetic_ratio / lower.state.arithmetic_ratio
    match found.realness:
        case Realness.HARDWARE:
            return judge_claim("realness", Outcome.PASS, "", **pair)
        case Realness.ARITHMETIC if declared != 1.0 and abs(found.ratio / declared - 1.0) < DECLARED_RATIO:
            return judge_claim("realness", Outcome.PASS, "", **pair)
        case Realness.MIXED if declared != 1.0:
            # Its arithmetic part is judged at the setting, among those of the same word; its size by the step's limit.
            return judge_claim("realness", Outcome.PASS, "", **pair)
        case Realness.UNPROVEN:
            return judge_claim("realness", Outcome.INCONCLUSIVE, f"{where}: realness unproven: {found.why}", **pair)
        case _:
            return judge_claim("realness", Outcome.FAIL, f"{where}: {found.realness}: {found.why}", **pair)
