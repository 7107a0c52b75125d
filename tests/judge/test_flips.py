"""What changes between two judgements of the same readings."""

from dataclasses import replace
from typing import Any

from harness.judge import flips
from harness.values import Judgement, Outcome, RunResult, Setting

NOWHERE = Setting(1, 0, 0)


def claim(item: str, outcome: Outcome, **keys: Any) -> Judgement:
    words: dict[str, Any] = {
        "setting": NOWHERE, "other": None, "measured": 1.5, "low": -2.0, "high": 2.0, "guard": 0.0, "unit": "percent",
        "margin": 0.5, "reason": "", **keys,
    }  # fmt: skip
    return Judgement(item=item, outcome=outcome, **words)


def run(verdict: Outcome, *claims: Judgement) -> RunResult:
    return RunResult(
        verdict=verdict, complete=True, counts=(), settings=(), steps=(), judgements=claims, candidates=(), worst=(),
        gain_limit_percent=(-2.0, 2.0), gain_guard_percent=0.0, step_limit_percent=(-1.0, 1.0), channel_count=1,
        coarse_names=("a",), fine_names=("b",), declared_arithmetic=(), notes=(),
    )  # fmt: skip


def test_the_same_is_no_change() -> None:
    one = run(Outcome.PASS, claim("gain", Outcome.PASS))
    found = flips(one, replace(one, judgements=(claim("gain", Outcome.PASS, high=3.0),)))
    assert not found.any
    assert found.claims == ()


def test_a_claim_that_comes_out_otherwise_carries_both_limits() -> None:
    before = run(Outcome.PASS, claim("gain", Outcome.PASS))
    found = flips(before, run(Outcome.FAIL, claim("gain", Outcome.FAIL, low=-1.0, high=1.0)))
    assert found.any
    (flip,) = found.claims
    assert (flip.before, flip.after, flip.was, flip.now) == (Outcome.PASS, Outcome.FAIL, (-2.0, 2.0), (-1.0, 1.0))


def test_a_new_requirement_counts_only_where_it_is_not_met() -> None:
    none = run(Outcome.PASS)
    assert flips(none, run(Outcome.PASS, claim("noise", Outcome.PASS))).claims == ()
    (flip,) = flips(none, run(Outcome.FAIL, claim("noise", Outcome.FAIL))).claims
    assert (flip.before, flip.after) == (None, Outcome.FAIL)
    (gone,) = flips(run(Outcome.FAIL, claim("noise", Outcome.FAIL)), none).claims
    assert (gone.before, gone.after) == (Outcome.FAIL, None)


def test_several_claims_of_one_kind_at_one_place_are_kept_apart() -> None:
    parameters = [claim("parameter", Outcome.PASS), claim("parameter", Outcome.PASS)]
    after = [parameters[0], claim("parameter", Outcome.FAIL, measured=9.0)]
    (flip,) = flips(run(Outcome.PASS, *parameters), run(Outcome.FAIL, *after)).claims
    assert flip.measured == 9.0
