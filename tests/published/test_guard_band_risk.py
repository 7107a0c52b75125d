"""What each decision rule costs, against a table: shipped bad and rejected good."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from harness.judge.decision import DECISION_RULES, Request, rule_risk

# Source: method of JCGM 106:2012 (global risks); managed rule: method 6 of the handbook to ANSI/NCSL Z540.3,
# formula from memory; numbers calculated for this project, see the head of the file. Tolerance: 1 % or 0.5 ppm.
TABLE = Path(__file__).parent / "data" / "guard-band-risk.csv"
ROWS = list(csv.DictReader(line for line in TABLE.read_text("utf-8").splitlines() if not line.startswith("#")))
RULES = {"simple": "simple", "w_equals_U": "guard-band", "managed": "managed"}


@pytest.mark.parametrize("row", ROWS, ids=[f"{r['cpk_true']}-{r['tur']}-{r['rule']}" for r in ROWS])
def test_table(row):
    rule, tur = RULES[row["rule"]], float(row["tur"])
    w = DECISION_RULES[rule](Request(expanded=1 / tur, low=-1.0, high=1.0))
    assert 1 - w == pytest.approx(float(row["acceptance_limit"]), abs=5.1e-5)
    risk = rule_risk(rule, cpk_ratio=float(row["cpk_true"]), tur_ratio=tur)
    # Half a unit of the printed digit (0.05 ppm, 0.0005 %) is inside these tolerances.
    assert 1e6 * risk.false_accept_ratio == pytest.approx(float(row["pfa_ppm"]), rel=0.01, abs=0.5)
    assert 100 * risk.false_reject_ratio == pytest.approx(float(row["pfr_percent"]), rel=0.01, abs=0.0006)


def test_managed_band_vanishes_at_high_tur():
    # Practice of the trade, from memory: M = 0.053 at TUR 4, 0.282 at TUR 2, 0 from 4.6 on.
    for tur, multiplier in ((4.0, 0.053), (2.0, 0.282), (4.62, 0.0), (10.0, 0.0)):
        request = Request(expanded=1.0, low=-tur, high=tur)
        assert DECISION_RULES["managed"](request) == pytest.approx(multiplier, abs=6e-4)


def test_many_items_multiply_false_rejects():
    # 100 independent items reject 0.66 % of units at Cpk 1.33 each, 24 % at 1.0 (calculated for this project).
    for cpk, share in ((1.33, 0.0066), (1.0, 0.24)):
        bad = rule_risk("simple", cpk_ratio=cpk, tur_ratio=1e4).bad_ratio
        assert 1 - (1 - bad) ** 100 == pytest.approx(share, rel=0.03)
