"""Why a station refuses to measure in production mode, and why a unit is not measured again."""

from harness.judge.lockout.facts import FailedAt, GoldenState, StationFacts
from harness.judge.lockout.locks import active_locks
from harness.judge.lockout.retest import Retest, retest_of
from harness.judge.lockout.rights import RIGHTS, denied, lifting, person_of, role_of, unknown_locks
from harness.judge.lockout.table import LOCKS, ActiveLock, Lock

__all__ = [
    "LOCKS",
    "RIGHTS",
    "ActiveLock",
    "FailedAt",
    "GoldenState",
    "Lock",
    "Retest",
    "StationFacts",
    "active_locks",
    "denied",
    "lifting",
    "person_of",
    "retest_of",
    "role_of",
    "unknown_locks",
]
