"""Why a station refuses to measure in production mode, and why a unit is not measured again."""

from harness.judge.lockout.facts import FailedAt, GoldenState, StationFacts
from harness.judge.lockout.locks import active_locks
from harness.judge.lockout.retest import Retest, retest_of
from harness.judge.lockout.table import LOCKS, ActiveLock, Lock

__all__ = [
    "LOCKS",
    "ActiveLock",
    "FailedAt",
    "GoldenState",
    "Lock",
    "Retest",
    "StationFacts",
    "active_locks",
    "retest_of",
]
