"""U of sums of a run's gains: a channel against the mean of others, what settings share with each other."""

import math

import numpy as np
import pytest

from harness.judge.gain_budget import NO_BUDGET, gain_budget
from harness.values import Setting
from tests.judge_budget.test_gain_budget import ROOT3, item, noise_percent, statement

RANGED = {"range": {"percent": 0.2}, "range_ends_vpk": [0.5]}


def channels(count, *, places=1, **changes):
    """One setting each, all of one level."""
    return [
        item(0, setting=Setting(channel, 0, place), **changes)
        for place in range(places)
        for channel in range(1, count + 1)
    ]


def test_a_channel_against_the_mean_of_others_keeps_only_the_records():
    budget = gain_budget(statement(source=RANGED, temperature_k=2.0), channels(4, level_vpk=0.3))
    (found,) = budget.match_expanded_percent([[one.setting for one in budget.items]])
    # Source, range and temperature are the same for all four: noise of one and a third of the noise of three are left.
    assert found == pytest.approx(2.0 * noise_percent() * math.sqrt(1.0 + 3.0 / 9.0), rel=1e-3)


def test_channels_at_levels_of_two_source_ranges_keep_what_these_differ_by():
    items = channels(3, level_vpk=0.3)
    items[0] = item(0, setting=items[0].setting, level_vpk=0.9)
    budget = gain_budget(statement(source=RANGED), items)
    (found,) = budget.match_expanded_percent([[one.setting for one in items]])
    own = noise_percent() * math.sqrt(1.0 + 2.0 / 4.0)
    assert found == pytest.approx(2.0 * math.hypot(own, math.sqrt(2.0) * 0.2 / ROOT3), rel=1e-6)


def test_many_differences_are_those_of_one_after_the_other():
    items = channels(3, places=50, level_vpk=0.3)
    items = [item(0, setting=one.setting, residual_code=0.5 + 0.01 * n) for n, one in enumerate(items)]
    budget = gain_budget(statement(source=RANGED), items)
    groups = [[one.setting for one in items[3 * n : 3 * n + 3]] for n in range(50)] * 3
    groups[7] = [items[0].setting, Setting(4, 9, 9)]
    together = budget.match_expanded_percent(groups)
    alone = [budget.match_expanded_percent([group])[0] for group in groups]
    assert together[7] is alone[7] is None
    assert [u for u in together if u] == pytest.approx([u for u in alone if u], rel=1e-12)
    assert len([u for u in together if u]) == 149


def test_without_a_budget_sums_are_not_made_up():
    places = [Setting(1, 0, 0), Setting(2, 0, 0)]
    assert NO_BUDGET.match_expanded_percent([places]) == (None,)
    assert NO_BUDGET.sums(np.ones((1, 2)), places) is None
    assert NO_BUDGET.shared(places) is None
    budget = gain_budget(statement(source=RANGED), channels(2))
    assert budget.sums(np.ones((1, 2)), [places[0], Setting(3, 0, 0)]) is None
    assert budget.match_expanded_percent([[Setting(3, 0, 0)]]) == (None,)


def test_what_settings_share():
    items = [item(n, level_vpk=level) for n, level in enumerate((0.1, 0.4, 0.9))]
    budget = gain_budget(statement(source=RANGED, device={"compression_percent": 0.04}), items)
    common, rows = budget.shared([one.setting for one in items])
    assert common == pytest.approx(0.3 / ROOT3)
    curve = 0.04 * (3000.0 / 4096.0) ** 2 / ROOT3
    expected = [[0.2 / ROOT3, 0.2 / ROOT3, 0.0], [0.0, 0.0, 0.2 / ROOT3], [curve] * 3]
    assert rows == pytest.approx(np.array(expected), rel=1e-9)
