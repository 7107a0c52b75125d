"""Which settings, in what order, and what moves on the way."""

from __future__ import annotations

import itertools

from harness.values import Direction, Setting


def test_everything_up_and_down_channel_by_channel(workshop) -> None:
    rungs = workshop.build()
    assert [rung.index for rung in rungs] == list(range(4 * 2 * 231))
    rising = [(coarse, fine) for coarse in range(11) for fine in range(21)]
    expected = [
        (direction, Setting(channel, *place))
        for channel in range(1, 5)
        for direction, places in ((Direction.UP, rising), (Direction.DOWN, rising[::-1]))
        for place in places
    ]
    assert [(rung.direction, rung.setting) for rung in rungs] == expected


def test_one_direction_only(workshop) -> None:
    up, down = workshop.build(directions=["up"]), workshop.build(directions=["down"], channels=[1])
    assert [rung.setting for rung in up] == list(workshop.law.settings())
    assert {rung.direction for rung in up} == {Direction.UP}
    assert [rung.setting for rung in down] == [Setting(1, c, f) for c in range(10, -1, -1) for f in range(20, -1, -1)]
    assert {rung.direction for rung in down} == {Direction.DOWN}


def test_directions_in_the_order_of_the_job(workshop) -> None:
    rungs = workshop.build(directions=["down", "up"], channels=[2], coarse=["5V"], fine=[3, 4])
    walked = [(rung.direction.value, rung.setting.fine) for rung in rungs]
    assert walked == [("down", 4), ("down", 3), ("up", 3), ("up", 4)]


def test_a_choice_goes_up_whatever_its_order_in_the_job(workshop) -> None:
    rungs = workshop.build(channels=[4, 2], coarse=["10mV", "20V", "1V"], fine=[20, 0], directions=["up"])
    assert [rung.setting for rung in rungs] == [
        Setting(channel, coarse, fine) for channel in (2, 4) for coarse in (0, 4, 10) for fine in (0, 20)
    ]


def test_two_moves_per_direction_and_channel(workshop) -> None:
    # 1:100 to 1:10 releases K2 and picks K1, 1:10 to 1:1 releases K1: two moves, three relay changes
    rungs = workshop.build()
    for _, way in itertools.groupby(rungs, key=lambda r: (r.setting.channel, r.direction)):
        moves = [(rung.setting.coarse, rung.relay_toggles) for rung in way if rung.relay_toggles]
        assert moves in ([(3, 2), (6, 1)], [(5, 1), (2, 2)])
    assert sum(rung.relay_toggles for rung in rungs) == 4 * 2 * 3


def test_the_way_to_the_first_setting_leads_from_the_least_sensitive_one(workshop) -> None:
    rungs = workshop.build(channels=[1, 2], coarse=["200mV"], directions=["up"], fine=[0, 1])
    assert [rung.relay_toggles for rung in rungs] == [1, 0, 1, 0]  # K2 releases


def test_rungs_carry_the_law_s_prediction(workshop) -> None:
    law = workshop.law
    assert all(rung.prediction == law.predict(rung.setting) for rung in workshop.build(fine=[0, 7]))
