"""From a number and its uncertainty to an outcome, and what each rule risks."""

from harness.judge.decision.counts import share_interval
from harness.judge.decision.decide import DECISION_RULES, GOOD_TUR_RATIO, LEAST_TUR_RATIO, Decision, decide_by
from harness.judge.decision.probability import conformance_probability, consumer_risk, guard_factor
from harness.judge.decision.request import Request, Rule
from harness.judge.decision.risk import Process, Risk, global_risk, normal_process, rule_risk

__all__ = [
    "DECISION_RULES",
    "GOOD_TUR_RATIO",
    "LEAST_TUR_RATIO",
    "Decision",
    "Process",
    "Request",
    "Risk",
    "Rule",
    "conformance_probability",
    "consumer_risk",
    "decide_by",
    "global_risk",
    "guard_factor",
    "normal_process",
    "rule_risk",
    "share_interval",
]
