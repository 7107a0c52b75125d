"""Limits and guard bands, words, gain, steps and realness: from raw readings to a verdict; no file, no clock."""

from harness.judge.build import build
from harness.judge.changes import compare_runs
from harness.judge.claims import CLAIMS, ITEMS
from harness.judge.fitted import LEAST_SETTINGS
from harness.judge.flips import Flip, Flips, flips
from harness.judge.gain_budget import Statement
from harness.judge.limit_set import LimitSet, hardware_underneath
from harness.judge.remembered import Remembered
from harness.judge.run_judge import RunJudge
from harness.judge.verdict import exit_code, worst_outcome

__all__ = [
    "CLAIMS",
    "ITEMS",
    "LEAST_SETTINGS",
    "Flip",
    "Flips",
    "LimitSet",
    "Remembered",
    "RunJudge",
    "Statement",
    "build",
    "compare_runs",
    "exit_code",
    "flips",
    "hardware_underneath",
    "worst_outcome",
]
