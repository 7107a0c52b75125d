"""From many outcomes to one, and to the exit code."""

from __future__ import annotations

from collections.abc import Iterable

from harness.errors import ExitCode
from harness.values import Outcome

ORDER = (Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE, Outcome.PASS)
"""FAIL outranks INVALID, INVALID outranks INCONCLUSIVE."""


def worst_outcome(outcomes: Iterable[Outcome]) -> Outcome:
    """The outcome that stands for many.

    Args:
        outcomes: any number of outcomes.
    Returns:
        the first of FAIL, INVALID, INCONCLUSIVE, PASS that occurs; INVALID for none: nothing run is never a pass.
    Source:
        common practice, no source.
    """
    seen = set(outcomes)
    for outcome in ORDER:
        if outcome in seen:
            return outcome
    return Outcome.INVALID


def exit_code(verdict: Outcome) -> ExitCode:
    """What the process returns for a verdict.

    Args:
        verdict: of the run.
    Returns:
        0 PASS, 1 FAIL, 3 INVALID, 5 INCONCLUSIVE.
    Source:
        the command line contract in DEVELOPERS.md.
    """
    return {
        Outcome.PASS: ExitCode.PASS,
        Outcome.FAIL: ExitCode.FAIL,
        Outcome.INVALID: ExitCode.INVALID,
        Outcome.INCONCLUSIVE: ExitCode.INCONCLUSIVE,
    }[verdict]
