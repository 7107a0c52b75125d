"""How often records that stopped early decide wrongly, and how many it takes: python -m tests.studies.averaging

Gains of a true value and a normal scatter as stated are drawn, record by record; the sequential test says when to stop.
Wrong is a PASS or FAIL, said before the job's most records were taken, that the true value does not deserve.
"""

from __future__ import annotations

import bisect
import sys

import numpy as np

from harness.judge.decision.sequential import certain

EDGES = (-2.0, 2.0)
STATED = 0.1
"""Standard deviation of one record, in the unit of the edges."""
TRUTHS = (0.0, 1.8, 1.9, 1.95, 1.99, 2.01, 2.05, 2.1, 2.2, 3.0)
MOST = 16


def trial(truth: float, *, risk: float, runs: int, seed: int, stated: float = STATED) -> dict[str, float]:
    """Shares of runs that stopped early and wrongly, that stopped early at all, and the mean number of records."""
    rng = np.random.default_rng(seed)
    wrong = early = records = 0
    for _ in range(runs):
        values: list[float] = []
        for value in rng.normal(truth, STATED, MOST).tolist():
            values.append(value)
            if certain(values, EDGES, stated=stated, risk=risk, most=MOST):
                early += 1
                mean = sum(values) / len(values)
                wrong += bisect.bisect(EDGES, mean) != bisect.bisect(EDGES, truth)
                break
        records += len(values)
    return {"wrong": wrong / runs, "early": early / runs, "records": records / runs}


def main() -> int:
    """The table."""
    print(f"edges {EDGES}, scatter of one record {STATED}, at most {MOST} records, 20 000 runs each")
    for risk in (0.05, 0.01, 0.001):
        for truth in TRUTHS:
            found = trial(truth, risk=risk, runs=20_000, seed=1)
            print(
                f"risk {risk:<6g} truth {truth:<5g} wrong {found['wrong']:.5f}  early {found['early']:.3f}  "
                f"records {found['records']:.2f}", flush=True,
            )  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
