"""A golden unit against its own history: is the station still what it was?"""

from harness.judge.golden.check import GoldenCheck, GoldenRow, golden_check
from harness.judge.golden.numbers import common_percent, golden_numbers
from harness.judge.golden.says import golden_says

__all__ = ["GoldenCheck", "GoldenRow", "common_percent", "golden_check", "golden_numbers", "golden_says"]
