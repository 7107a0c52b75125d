"""A row for fine steps may hold only for steps that span few positions."""

from __future__ import annotations

import pytest

from harness.values import Outcome
from tests.judge.run_builder import judged, reading_of, setup_at

PLACES = tuple((1, 3, fine) for fine in (0, 5, 10, 15, 20))


@pytest.mark.parametrize(("apart", "judged_steps"), [(None, 4), (5, 4), (4, 0), (1, 0)])
def test_steps_of_more_positions_are_not_judged_as_steps(apart: int | None, judged_steps: int) -> None:
    setup = setup_at(*PLACES, limits=("fine-step",))
    setup.limits["fine-step"] = setup.limits["fine-step"].model_copy(update={"apart": apart})  # type: ignore[index]
    result = judged(setup, [reading_of(r, gain_ratio=1.0 - 0.005 * r.setting.fine) for r in setup.rungs])
    claims = [claim for claim in result.judgements if claim.item == "fine-step"]
    assert len(claims) == judged_steps
    assert {claim.outcome for claim in claims} == ({Outcome.FAIL} if judged_steps else set())
    # They are shown all the same.
    assert len(result.steps) == 4
