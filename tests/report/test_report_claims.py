"""The table of claims: rule, test uncertainty ratio, and how sure the least sure pass is."""

import dataclasses
from types import SimpleNamespace

import pytest

from harness.report import words
from harness.report.claims import claims
from harness.values import Judgement, Outcome, Setting


def claim(outcome: Outcome, **keys: object) -> Judgement:
    known: dict[str, object] = {
        "setting": Setting(1, 0, 0), "other": None, "measured": 0.1, "low": -2.0, "high": 2.0, "guard": 0.1,
        "unit": "percent", "margin": 1.9, "reason": "", "rule": "managed", **keys,
    }  # fmt: skip
    return Judgement(item="gain", outcome=outcome, **known)  # type: ignore[arg-type]


def test_the_least_sure_pass_the_least_tur_and_the_largest_doubt_stand_for_all(made: SimpleNamespace) -> None:
    several = (
        claim(Outcome.PASS, tur_ratio=8.0, conformance_ratio=0.99999, expanded=0.25),
        claim(Outcome.PASS, tur_ratio=3.04, conformance_ratio=0.9731, expanded=0.658),
        claim(Outcome.FAIL, tur_ratio=5.0, conformance_ratio=0.2),
    )
    (line,) = claims(dataclasses.replace(made.good, judgements=several))
    assert (line.rule, line.expanded, line.tur, line.sure) == ("managed", "0.658 %", "3.0", "97.31 %")


def test_without_an_uncertainty_the_columns_stay_empty(made: SimpleNamespace) -> None:
    (line,) = claims(dataclasses.replace(made.good, judgements=(claim(Outcome.PASS, rule="guarded"),)))
    assert (line.rule, line.expanded, line.tur, line.sure) == ("guarded", "", "", "")


@pytest.mark.parametrize(
    ("value", "said"), [(0.99995, "> 99.99 %"), (0.9999, "99.99 %"), (0.5, "50 %"), (0.975, "97.5 %")]
)
def test_probabilities_read_as_percent(value: float, said: str) -> None:
    assert words.chance(value) == said
