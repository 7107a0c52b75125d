"""Gauge studies from runs: the book's data through the same path, and what runs do not allow."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from harness.app.golden.study import StudyRun, code_of, lines_of, study
from harness.errors import ExitCode, UsageError

# Source: AIAG, Measurement Systems Analysis, 4th ed. (2010), Fig. III-B 6a.
DATA = Path(__file__).parents[1] / "published" / "data" / "aiag-msa-grr.csv"


def run(unit, appraiser, value, width=None):
    return StudyRun(unit=unit, appraiser=appraiser, numbers={"ln K": value}, widths={"ln K": width} if width else {})


def book(width=None):
    lines = (line for line in DATA.read_text("utf-8").splitlines() if not line.startswith("#"))
    return [run(row["part"], row["appraiser"], float(row["value"]), width) for row in csv.DictReader(lines)]


def test_the_books_data_as_runs():
    content = study(book(), reference=None)
    row = content["gauge_rr"]["ln K"]
    assert (row["units"], row["appraisers"], row["trials"]) == (10, 3, 3)
    # Printed: %GRR 26.68, ndc 5 by average and range; ndc 4 by the pooled analysis of variance.
    assert row["average_range"]["grr_of_total_percent"] == pytest.approx(26.68, abs=0.01)
    assert (row["average_range"]["ndc"], row["anova"]["ndc"]) == (5, 4)
    assert row["average_range"]["grade"] == "conditional"
    assert content["type_one"] == content["stations"] == {}
    assert code_of(content) is ExitCode.PASS
    assert "gauge R&R ln K, average and range: 10 units x 3 x 3" in "\n".join(lines_of(content))
    json.dumps(content, allow_nan=False)


def test_against_a_tolerance_all_three_studies_are_made():
    content = study(book(width=4.0), reference={"ln K": 0.5})
    assert content["gauge_rr"]["ln K"]["anova"]["grr_of_tolerance_percent"] == pytest.approx(
        100.0 * 6.0 * 0.302371522 / 4.0
    )
    assert content["type_one_of"]["runs"] == 3
    # Means of the appraisers: A 0.1903, B 0.0683, C -0.2543.
    pairs = content["stations"]["ln K"]
    assert pairs["B less A"]["mean_percent"] == pytest.approx(0.0683 - 0.1903, abs=1e-4)
    assert (pairs["C less A"]["units"], pairs["C less A"]["outcome"]) == (10, "apart")
    assert code_of(content) is ExitCode.FAIL
    said = "\n".join(lines_of(content))
    assert "type-1 study: unit 1, A, 3 runs" in said
    assert "B less A, ln K: 10 units, mean -0.1220 %" in said


def test_a_capable_station_with_few_runs_is_not_passed_by():
    runs = [run("G1", "s", value, 60.0) for value in (-0.1, 0.1, 0.0, 0.05)]
    content = study(runs, reference={"ln K": 0.0})
    assert content["type_one"]["ln K"]["outcome"].startswith("too few")
    assert code_of(content) is ExitCode.INCONCLUSIVE
    assert "no reference, so no Cgk" in "\n".join(lines_of(study(runs, reference=None)))
    assert "gauge study: 1 parts; allowed: 2 or more: measure further ones" in content["not_made"]


@pytest.mark.parametrize(
    ("runs", "said"),
    [
        ([], "these runs allow none: no run left"),
        ([run("G1", "s", 0.1, 1.0)], "type-1 study: 1 readings"),
        ([run("G1", "s", 0.1, 1.0)] * 3, "a simulation with one seed repeats itself"),
        ([run("G1", "s", 0.1, 1.0), run("G2", "t", 0.2, 1.0)], "G1 was never measured by t"),
    ],
)
def test_runs_that_allow_no_study_are_told_so(runs, said):
    with pytest.raises(UsageError, match=said):
        study(runs, reference=None)


def test_a_reference_that_is_no_sound_run_is_refused(gainladder, tmp_path):
    store = f"sqlite:///{tmp_path}/runs.sqlite"
    gainladder("sweep", "configs/jobs/ci.toml", "--unit", "A1", "--fault", "source-load-mis-set", "--store", store)
    ended = gainladder("golden", "study", "last", "--reference", "last", "--store", store)
    assert ended.code == 2
    assert "allowed is a complete run that is not INVALID" in ended.err
