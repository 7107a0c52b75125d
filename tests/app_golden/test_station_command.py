"""`golden station` on the simulated bench: fit, and what is wrong by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.app.golden.station import station_setup
from harness.app.setup import read_setup
from harness.store import noted, open_store
from harness.values import GOLDEN_UNIT, STATION_CHECK, Purpose, station_check_of

METERED = "configs/benches/simulated-metered.toml"


@pytest.fixture
def look(gainladder, line_job, tmp_path):
    def run(*words):
        store = ("--store", str(tmp_path / "s.sqlite"))
        return gainladder("golden", "station", line_job(), "--unit", "G1", "--seed", "1", "--json", *words, *store)

    return run


def test_each_bit_is_seen_both_ways_in_few_settings():
    setup = read_setup(str(Path(__file__).parents[2] / "configs" / "jobs" / "demo.toml"))
    short = station_setup(setup)
    whole = {rung.setting: rung.prediction.state.word for rung in setup.rungs}
    for channel in range(1, 5):
        every = [word.value for setting, word in whole.items() if setting.channel == channel]
        shown = [rung.prediction.state.word.value for rung in short.rungs if rung.setting.channel == channel]
        for bit in range(9):
            assert {value >> bit & 1 for value in shown} == {value >> bit & 1 for value in every}
        assert len(shown) <= 5
    assert [rung.index for rung in short.every_rung] == list(range(len(short.every_rung)))
    assert [rung.purpose for rung in short.extras] == [Purpose.QUIET] * 4


def test_a_station_that_is_fit_and_one_whose_bus_is_not(look, tmp_path):
    fit = look("--bench", METERED)
    assert fit.code == 0, fit.out
    assert [part["outcome"] for part in fit.json["parts"]] == ["PASS"] * 4
    assert "allowed 2.57 %" in fit.json["parts"][0]["text"]
    bad = look("--fault", "latch-missing:2")
    assert bad.code == 1
    loop, _, noise, bus = bad.json["parts"]
    assert (loop["outcome"], noise["outcome"], bus["outcome"]) == (None, "FAIL", "FAIL")
    assert "ch2 5V 100 % sent latch-2:" in bus["text"]
    wrong = look("--fault", "source-load-mis-set")
    assert wrong.code == 3
    assert [part["name"] for part in wrong.json["parts"]] == ["self-check"]
    with open_store(str(tmp_path / "s.sqlite"), read_only=True) as store:
        checks = [station_check_of(event) for _, event in noted(store, STATION_CHECK)]
        assert [str(check.outcome) for check in checks] == ["PASS", "FAIL", "INVALID"]
        # No production: a lot leaves these runs out, and none is gone on with.
        assert len(noted(store, GOLDEN_UNIT)) == 3
        assert store.check().faults == ()


def test_another_unit_is_refused(gainladder, line_job):
    ended = gainladder("golden", "station", line_job(), "--unit", "A1")
    assert (ended.code, "A1 is no golden unit; production.golden_units allows G1" in ended.err) == (2, True)
