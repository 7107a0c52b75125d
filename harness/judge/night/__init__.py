"""A night from the results of its runs: drift, scatter, temperature coefficients, what is new; no file, no clock."""

from harness.judge.night.against import differences
from harness.judge.night.gather import NightJudge, RunPart

__all__ = ["NightJudge", "RunPart", "differences"]
