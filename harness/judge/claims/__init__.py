"""The registry of claims: what may be required of a unit, one module for each claim."""

from harness.judge.claims.context import Context, Uncertainty
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.claims.registry import CLAIMS, ITEMS, judge_all, unmeasured

__all__ = ["CLAIMS", "ITEMS", "ClaimKind", "Context", "Need", "Scope", "Uncertainty", "judge_all", "unmeasured"]
