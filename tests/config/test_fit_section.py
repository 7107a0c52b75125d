"""The [fit] table: its bounds, and that it stands in the place of the device file's."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from harness.app.setup import fitted_by
from harness.config import FitTerms
from tests.judge.run_builder import FULL


@pytest.mark.parametrize("keys", [{"mains_hz": 5.0}, {"harmonics": 21}, {"mains_lines": 0, "mains_hz": 50.0}])
def test_bounds(keys: dict[str, float]) -> None:
    with pytest.raises(ValidationError):
        FitTerms(**keys)  # type: ignore[arg-type]


def test_lines_of_no_mains_are_refused() -> None:
    with pytest.raises(ValidationError, match="mains_lines goes with mains_hz"):
        FitTerms(mains_lines=3)
    assert FitTerms(mains_hz=60.0, mains_lines=3).mains_lines == 3


def test_the_job_stands_in_the_place_of_the_device_file() -> None:
    terms = FitTerms(mains_hz=60.0)
    assert fitted_by(FULL.job, FULL.device) is FULL.device
    assert fitted_by(FULL.job.model_copy(update={"fit": terms}), FULL.device).acquisition.fit == terms
    assert FULL.device.acquisition.fit == FitTerms()
