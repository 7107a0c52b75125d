"""What the page of a night says of a unit that follows the temperature, and of words that nobody heard."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from harness import report
from harness.app.night import NightRequest, carry_out
from harness.app.night_report import judged_night
from harness.app.run import RunRequest
from harness.app.setup import read_setup
from harness.store import open_store
from harness.values import NightResult, Outcome

ROOT = Path(__file__).resolve().parents[2]
LADDER = """
[ladder]
channels = [1]
coarse = ["5V", "200mV"]
fine = [0, 10]
directions = ["up"]

[anchors]
every_rungs = 3

[[anchors.setting]]
channel = 1
coarse = "200mV"
fine = 10

[night.dwell]
within_k = 6.0
look_s = 120.0
"""
CORNERS = "".join(f"[[night.corner]]\nname = '{c:g}'\ntemperature_c = {c}\n" for c in (0.0, 23.0, 50.0))
NIGHT = f"facts-{os.getpid()}"


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NightResult]:
    """Three corners, a channel without temperature compensation, an adapter that drops events now and then."""
    folder = tmp_path_factory.mktemp("facts")
    head = (ROOT / "configs/jobs/overnight.toml").read_text().split("[ladder]")[0]
    path = folder / "job.toml"
    path.write_text(head.replace('"../', f'"{ROOT}/configs/') + LADDER + CORNERS)
    setup = read_setup(str(path))
    faults = ("temperature-compensation-missing:1", "capture-incomplete:adapter~0.3")
    request = NightRequest(
        night_id=NIGHT, setup_of_cycle=lambda cycle: setup, units=("N1",), seed=3, connect=lambda unit: None,
        run=RunRequest(unit="", operator="test", faults=faults),
    )  # fmt: skip
    with open_store(str(folder / "runs.sqlite")) as store:
        carry_out(store, request)
        yield judged_night(store, NIGHT)


def test_the_anchor_tells_the_temperature_coefficient_when_no_law_can_be_fitted(night: NightResult) -> None:
    found = {c.parameter: c for c in night.coefficients}
    slope = found["gain at ch1 200mV 70 %, by the anchor"]
    # By other means: from the course that is drawn, at its coldest and its hottest end.
    (course,) = night.anchors
    ends = [percent for _, percent in course.points]
    by_ends = 1e4 * (min(ends) - max(ends)) / 50.0
    assert slope.ppm_per_k == pytest.approx(by_ends, rel=0.1)
    assert slope.ppm_per_k < -1000.0
    assert slope.runs == 3
    assert f">−{-slope.ppm_per_k:.0f}</td>" in report.night_html(night, software="1")


def test_the_way_to_a_corner_is_no_scatter(night: NightResult) -> None:
    (scatter,) = night.scatter
    assert scatter.repeat_percent is not None
    # The gain moves by per cents on the way; at rest, by the rule of the dwell, by less than 0.05 % in ten minutes.
    (course,) = night.anchors
    steps = [abs(b - a) for (_, a), (_, b) in zip(course.points, course.points[1:], strict=False)]
    assert max(steps) > 0.5
    assert scatter.repeat_percent < 0.05 / math.sqrt(2.0)


def test_what_was_invalid_is_listed_by_its_cause(night: NightResult) -> None:
    assert any(row.verdict is not Outcome.PASS for row in night.runs)
    causes = dict(night.invalid)
    assert causes.get("no word: the adapter dropped events", 0) > 0
    assert all("ch1" not in cause for cause in causes)
