"""Limits and guard bands, words, gain, steps and realness: from raw readings to a verdict; no file, no clock."""

from harness.judge.build import RULES, build
from harness.judge.fitted import LEAST_SETTINGS
from harness.judge.flips import Flip, Flips, flips
from harness.judge.limit_set import LimitSet
from harness.judge.run_judge import RunJudge
from harness.judge.verdict import exit_code, worst_outcome

__all__ = [
    "LEAST_SETTINGS",
    "RULES",
    "Flip",
    "Flips",
    "LimitSet",
    "RunJudge",
    "build",
    "exit_code",
    "flips",
    "worst_outcome",
]
