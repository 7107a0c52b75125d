"""The study of coverage, a small one: the interval holds the simulator's truth, and the truth is not the law's."""

from __future__ import annotations

import math

import pytest

from harness.app.setup import read_setup
from tests.studies.coverage import JOBS, Held, cut, lines, main, study, truths

DRAWS = 16


@pytest.fixture(scope="module")
def rows() -> list[Held]:
    return study(JOBS[0], range(1, DRAWS + 1))


def test_the_interval_of_each_range_holds_the_truth(rows: list[Held]) -> None:
    assert [row.name for row in rows][:11:10] == ["20V", "10mV"]
    for row in rows[:11]:
        assert row.draws == DRAWS
        # All but two of sixteen: with 95.4 % each, fewer in one study of thirty; these seeds are given.
        assert row.held >= DRAWS - 2, row.name
        assert row.predicted_ratio == pytest.approx(0.9545, abs=0.002)
        # The stated standard uncertainty and the scatter of sixteen draws: chi-square gives ±45 % at 99 %.
        assert row.error_percent == pytest.approx(row.expanded_percent / 2.0, rel=0.45)


def test_the_interval_of_each_fitted_parameter_holds_the_truth(rows: list[Held]) -> None:
    fitted = rows[11:]
    assert [row.name for row in fitted] == ["ln K", "attenuator 1:10", "attenuator 1:100", "pregain"]
    for row in fitted:
        assert (row.draws, row.predicted_ratio) == (DRAWS, None)
        assert row.held >= DRAWS - 2, row.name
        # Eleven readings: their scatter widens the interval, but not without end.
        assert row.error_percent < row.expanded_percent < 0.5
    # All that is common to the readings of a draw is in ln K alone.
    assert fitted[0].error_percent > 2.0 * max(row.error_percent for row in fitted[1:])


def test_the_truth_is_the_simulators_own() -> None:
    setup = cut(read_setup(JOBS[0]), 0)
    first, second = truths(setup, 1), truths(setup, 2)
    for rung in setup.rungs:
        law = rung.prediction.gain_codes_per_v
        apart = [abs(100.0 * math.log(true[rung.setting] / law)) for true in (first, second)]
        # Parts within the spread of good units, and never the same.
        assert 0.0 < min(apart) < max(apart) < 1.0


def test_an_interval_that_does_not_hold_is_named() -> None:
    row = Held(name="5V", draws=100, held=90, squares=1.0, expanded_percent=0.2, predicted_ratio=0.954)
    assert not row.good()
    assert row.good(slack=0.06)
    assert list(lines("a job", [row]))[-1].endswith("NOT HELD")
    assert Held(name="5V", draws=1000, held=950, predicted_ratio=0.954).good()
    # Without a prediction beside it an interval may hold more often than it says, never less.
    wide, narrow = (Held(name="pregain", draws=1000, held=held, predicted_ratio=None) for held in (1000, 930))
    assert wide.good()
    assert not narrow.good()
    assert list(lines("a job", [wide]))[-1].split() == ["pregain", "1000", "0.0000", "0.000", "100.00%"]


def test_the_command_says_how_it_ended(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    good = Held(name="5V", draws=1000, held=950, predicted_ratio=0.954)
    bad = Held(name="2V", draws=1000, held=900, predicted_ratio=0.954)
    monkeypatch.setattr("tests.studies.coverage.study", lambda job, seeds: [good, bad] if "ci" in job else [good])
    assert main([]) == 1
    assert main(["--job", JOBS[1], "--json"]) == 0
    assert '"name": "5V"' in capsys.readouterr().out
