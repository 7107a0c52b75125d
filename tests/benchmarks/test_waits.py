"""What the order of exchanges costs beyond the least sum that the rules of safety leave, on a simulated clock."""

import importlib
import itertools

import pytest

overhead = importlib.import_module("tests.benchmarks.overhead")


@pytest.mark.parametrize("hold", [False, True])
def test_a_sweep_waits_for_hardly_more_than_the_physics(tmp_path, hold):
    setup = overhead._setup(tmp_path, overhead.REALISTIC, record_s=overhead.RECORD_S, hold=hold)
    floor_s = overhead.floor_s(setup)
    # By hand: 84 readings of 5 ms a record, 1 ms a word and three answers of 0.5 ms; each of the four ranges takes one
    # answer more, three of them a relay of 5 ms instead of the word; a level that stays takes no answer.
    stays = sum(a.drive_vpk == b.drive_vpk for a, b in itertools.pairwise(setup.rungs))
    assert stays > 50 if hold else stays < 5
    assert floor_s == pytest.approx(84 * 7.5e-3 + 4 * 0.5e-3 + 3 * 4e-3 - stays * 0.5e-3, abs=1e-9)
    assert floor_s <= overhead.waited_s(setup) <= 1.01 * floor_s
