"""Steps between neighbouring settings: size, realness, and their rows."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from harness.judge.grounds import Grounds
from harness.judge.realness import Evidence, Found
from harness.judge.verdict import worst_outcome
from harness.values import Judgement, Outcome, Prediction, RealnessEvidence, Setting, StepResult

STEP_KINDS = ("fine", "coarse")
"""In the order in which steps are told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Two neighbouring settings of a channel, both measured."""

    lower: Prediction
    """Of less gain by the ladder's order."""
    upper: Prediction
    kind: str
    """fine or coarse."""
    measured_ratio: float
    found: Found
    word_changed: bool | None
    """None where a gain device is not known to hold a word."""
    ground: RealnessEvidence | None = None
    """What words and waveform each say of it."""

    @property
    def predicted_ratio(self) -> float:
        """By the law."""
        return self.upper.gain_codes_per_v / self.lower.gain_codes_per_v

    @property
    def residual_percent(self) -> float:
        """100·ln(measured/predicted)."""
        return 100.0 * math.log(self.measured_ratio / self.predicted_ratio)

    @property
    def where(self) -> str:
        """The place, for people."""
        return f"{self.lower.label} to {self.upper.label}"


def steps_of(
    plan: Mapping[Setting, Prediction], evidence: Mapping[Setting, Evidence], grounds: Grounds
) -> tuple[Step, ...]:
    """All steps of a run.

    Args:
        plan: prediction by setting.
        evidence: what is known of each.
        grounds: what each step is.
    Returns:
        fine steps in each range, then coarse steps at each fine position. A step with a missing side is none: the
        missing setting already counts.
    Source:
        none: a record.
    """
    steps = []
    for lower, upper, kind in _neighbours(list(evidence)):
        below, above = evidence[lower], evidence[upper]
        if below.gain_codes_per_v is None or above.gain_codes_per_v is None:
            continue
        ground = grounds.step(lower, upper)
        steps.append(
            Step(
                lower=plan[lower],
                upper=plan[upper],
                kind=kind,
                measured_ratio=above.gain_codes_per_v / below.gain_codes_per_v,
                found=ground.found,
                ground=ground.values,
                word_changed=below.words != above.words if below.known and above.known else None,
            )
        )
    return tuple(steps)


def step_row(step: Step, claims: Sequence[Judgement]) -> StepResult:
    """The step's row for pages and files.

    Args:
        step: measured.
        claims: made of it; where there is none it is shown, not judged.
    Returns:
        the row.
    Source:
        none: a record.
    """
    outcome = worst_outcome([claim.outcome for claim in claims]) if claims else Outcome.PASS
    reasons = [claim.reason for claim in claims if claim.outcome is outcome and claim.reason]
    return StepResult(
        lower=step.lower.setting,
        upper=step.upper.setting,
        kind=step.kind,
        outcome=outcome,
        measured_ratio=step.measured_ratio,
        predicted_ratio=step.predicted_ratio,
        residual_percent=step.residual_percent,
        realness=step.found.realness,
        word_changed=step.word_changed,
        reason=reasons[0] if reasons else step.found.why,
        evidence=step.ground,
    )


def _neighbours(settings: Sequence[Setting]) -> list[tuple[Setting, Setting, str]]:
    """Pairs next to each other in the ladder: fine in each range, coarse at each fine position."""
    ordered = sorted(settings)
    by_fine = sorted(settings, key=lambda s: (s.channel, s.fine, s.coarse))
    fine = [(a, b, "fine") for a, b in pairwise(ordered) if a.coarse == b.coarse]
    coarse = [(a, b, "coarse") for a, b in pairwise(by_fine) if a.fine == b.fine]
    return [pair for pair in (*fine, *coarse) if pair[0].channel == pair[1].channel]
