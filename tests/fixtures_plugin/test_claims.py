"""Which claims a ladder makes, and what ends their tests; without a process of their own."""

from __future__ import annotations

import pytest

from fixtures.claims import ClaimOutcomes, DecidedClaim, GainClaim, planned_claims
from fixtures.options import DEFAULT_JOB
from harness.app.setup import read_setup
from harness.errors import MeasureError
from harness.values import Outcome
from tests.judge.run_builder import FULL, healthy, judged, setup_at

ITEMS = {"measurable", *(limit.item for limit in FULL.limits.values())} - {"parameter"}


def test_each_claim_that_the_ladder_can_decide_is_planned_once() -> None:
    claims = planned_claims(FULL)
    # Each range has every item, the lowest no coarse step; the parameters are claimed of each channel once.
    assert len({claim.name for claim in claims}) == len(claims) == 2 * (11 * len(ITEMS) - 1 + 1)
    result = judged(FULL, [healthy(rung) for rung in FULL.rungs])
    assert all(claim.judgements(result) for claim in claims)
    assert sum(len(claim.judgements(result)) for claim in claims) == len(result.judgements)


@pytest.mark.parametrize(
    ("places", "missing"),
    [
        (((1, 3, 0),), {"fine-step", "monotonic", "coarse-step", "residual"}),
        (((1, 3, 0), (1, 3, 5)), {"coarse-step", "residual"}),
        (((1, 2, 5), (1, 3, 0)), {"fine-step", "monotonic", "coarse-step", "residual"}),
        (((1, 2, 0), (1, 3, 0), (1, 3, 5)), {"residual"}),
        (((1, 2, 0), (1, 3, 0), (1, 3, 5), (1, 3, 10)), set()),
        (((2, 2, 0), (1, 3, 0), (1, 3, 5), (1, 3, 10), (1, 3, 15)), {"coarse-step"}),
    ],
)
def test_what_a_ladder_cannot_show_is_not_claimed(places: tuple[tuple[int, int, int], ...], missing: set[str]) -> None:
    names = [claim.name for claim in planned_claims(setup_at(*places))]
    assert {name.removeprefix("ch1-2V-") for name in names if name.startswith("ch1-2V-")} == ITEMS - missing


def test_a_range_that_was_not_read_is_invalid_and_many_reasons_are_counted() -> None:
    setup = setup_at(*((1, 3, fine) for fine in (0, 5, 10, 15, 20)))
    outcomes = ClaimOutcomes()
    claim = next(claim for claim in planned_claims(setup) if claim.item == "measurable")
    with pytest.raises(MeasureError) as caught:
        outcomes.decide(claim, judged(setup, []))
    assert str(caught.value).startswith("ch1-2V-measurable: INVALID: ch1 2V 100 %: not read; ")
    assert str(caught.value).endswith("; 2 more")
    assert outcomes.ran == 1
    assert not outcomes.all_pass


def test_parameters_that_the_ladder_cannot_tell_are_shown_and_not_counted() -> None:
    setup = setup_at(*((1, 3, fine) for fine in (0, 5, 10, 15, 20)))
    result = judged(setup, [healthy(rung) for rung in setup.rungs])
    assert result.verdict is Outcome.PASS
    outcomes = ClaimOutcomes()
    claims = {claim.name: claim for claim in planned_claims(setup)}
    told = outcomes.decide(claims["ch1-parameter"], result)
    assert told.text.startswith("ch1-parameter: not exercised: ch1 attenuator 1:10: not exercised, this ladder cannot")
    # Alone it is no success; beside claims that pass it does no harm.
    assert (outcomes.ran, outcomes.all_pass) == (1, False)
    assert {outcomes.decide(claim, result).outcome for name, claim in claims.items() if "parameter" not in name} == {
        Outcome.PASS
    }
    assert outcomes.all_pass


CLAIM = GainClaim(channel=1, coarse=0, item="gain", name="n")


@pytest.mark.parametrize(
    ("outcome", "ends"), [(Outcome.FAIL, pytest.fail.Exception), (Outcome.INCONCLUSIVE, pytest.skip.Exception)]
)
def test_an_outcome_ends_its_test(outcome: Outcome, ends: type[BaseException]) -> None:
    with pytest.raises(ends, match="the words"):
        DecidedClaim(claim=CLAIM, outcome=outcome, text="the words").settle()


def test_a_pass_ends_quietly() -> None:
    DecidedClaim(claim=CLAIM, outcome=Outcome.PASS, text="").settle()


def test_the_default_job_is_simulated_and_in_process() -> None:
    setup = read_setup(str(DEFAULT_JOB))
    assert setup.bench.file.simulation is not None
    assert setup.job.transport == "in-process"
