"""A golden unit against its own history: is the station still what it was?"""

from harness.judge.golden.causes import golden_causes
from harness.judge.golden.check import GoldenCheck, GoldenRow, golden_check
from harness.judge.golden.numbers import common_percent, golden_numbers
from harness.judge.golden.says import golden_says
from harness.judge.golden.station import bus_part, factor_part, loop_part, noise_part, worst_of

__all__ = [
    "GoldenCheck",
    "GoldenRow",
    "bus_part",
    "common_percent",
    "factor_part",
    "golden_causes",
    "golden_check",
    "golden_numbers",
    "golden_says",
    "loop_part",
    "noise_part",
    "worst_of",
]
