"""The table of claims: rule, test uncertainty ratio, and how sure the least sure pass is."""

import dataclasses
from types import SimpleNamespace

import pytest

from harness.report import words
from harness.report.claims import ClaimLine, claims
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
    assert (line.rule, line.expanded, line.tur, line.sure) == ("managed", "0.66 %", "3.0", "97.31 %")


def test_without_an_uncertainty_the_columns_stay_empty(made: SimpleNamespace) -> None:
    (line,) = claims(dataclasses.replace(made.good, judgements=(claim(Outcome.PASS, rule="guarded"),)))
    assert (line.rule, line.expanded, line.tur, line.sure) == ("guarded", "", "", "")


@pytest.mark.parametrize(
    ("value", "said"), [(0.99995, "> 99.99 %"), (0.9999, "99.99 %"), (0.5, "50 %"), (0.975, "97.5 %")]
)
def test_probabilities_read_as_percent(value: float, said: str) -> None:
    assert words.chance(value) == said


def test_the_largest_risk_of_each_kind_stands_beside() -> None:
    """Specific risks (JCGM 106:2012, 9.3): only what passes can be shipped bad, only what fails can be lost good."""
    several = (
        claim(Outcome.PASS, conformance_ratio=0.999999999),
        claim(Outcome.PASS, conformance_ratio=0.95),
        claim(Outcome.FAIL, conformance_ratio=0.2),
        claim(Outcome.INCONCLUSIVE, conformance_ratio=0.5),
    )
    risks = [(one.consumer_risk_ratio, one.producer_risk_ratio) for one in several[1:]]
    assert risks == [(pytest.approx(0.05), None), (None, 0.2), (None, None)]
    assert (claims_of(several).consumer, claims_of(several).producer) == ("5 %", "20 %")
    assert (claims_of(several[:1]).consumer, claims_of(several[:1]).producer) == ("< 0.001 %", "")
    assert (claims_of(several[3:]).consumer, claims_of(several[3:]).producer) == ("", "")


def claims_of(judgements: tuple[Judgement, ...]) -> ClaimLine:
    (line,) = claims(SimpleNamespace(judgements=judgements))  # type: ignore[arg-type]
    return line
