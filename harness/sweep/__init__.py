"""Walking a ladder on a bench: set, settle, level, acquire, retry; through contracts only, raw readings out."""

from harness.sweep.around import Around
from harness.sweep.averaging import AveragingPlan
from harness.sweep.bench import Bench
from harness.sweep.dwell import settle
from harness.sweep.plan import AnchorPlan, Progress, SweepPlan
from harness.sweep.resumption import Resumption, resumption
from harness.sweep.scouting import Scouted, scout
from harness.sweep.self_check import NOISE_WINDOW_RATIO, self_check
from harness.sweep.walk import Walk, sweep

__all__ = [
    "NOISE_WINDOW_RATIO",
    "AnchorPlan",
    "Around",
    "AveragingPlan",
    "Bench",
    "Progress",
    "Resumption",
    "Scouted",
    "SweepPlan",
    "Walk",
    "resumption",
    "scout",
    "self_check",
    "settle",
    "sweep",
]
