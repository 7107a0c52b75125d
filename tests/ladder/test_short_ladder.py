"""Short ladders: each demand counted again from words, relays and gains; prediction against a covariance by hand."""

from __future__ import annotations

import dataclasses
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from harness.app.setup import read_setup
from harness.errors import UsageError
from harness.ladder import is_audited
from harness.ladder.short import READING_PERCENT, ShortLadder, shorten
from harness.ladder.short.exchange import covering, exchanged
from harness.ladder.short.musts import Must
from harness.ladder.short.prediction import Model
from harness.ladder.short.shown import entries
from harness.law import GainLaw
from harness.values import Prediction, Setting

CONFIGS = Path(__file__).parents[2] / "configs"
JOBS = {"skerry-hr-4": 0.08, "tarn-vg-1": 0.132, "corrie-ur-2": 0.13}
"""Largest share of the settings; for the Tarn's 13.2 % see the test that no fewer will do."""
MIDDLE = {"skerry-hr-4": ((5, 10),), "corrie-ur-2": ((2, 20),)}
"""Settings that the shipped files visit in any case."""


@cache
def law_of(device: str) -> GainLaw:
    return read_setup(str(CONFIGS / "jobs" / f"{device}-short.toml"), ladder=False).law


@cache
def short_of(device: str) -> ShortLadder:
    return shorten(law_of(device), detect=3, least_percent=2.44, also=MIDDLE.get(device, ()))


def visited(device: str) -> list[Prediction]:
    short = short_of(device)
    return [law_of(device).predict(Setting(1, c, f)) for c, fine in enumerate(short.fine) for f in fine]


def everything(device: str) -> list[Prediction]:
    law = law_of(device)
    return [law.predict(Setting(1, c, f)) for c in range(len(law.coarse_names)) for f in range(len(law.fine_names))]


@pytest.mark.parametrize("device", JOBS)
def test_a_short_ladder_is_as_short_as_promised(device: str) -> None:
    assert short_of(device).settings <= JOBS[device] * len(everything(device))


def test_no_fewer_settings_than_those_of_the_tarn_will_do() -> None:
    """Of five bits each shows in settings of its own, those in which it is the highest: three each are fifteen."""
    law = law_of("tarn-vg-1")
    whole = entries(law, range(114), least_percent=2.44)
    alone: list[np.ndarray] = []
    for entry in sorted(whole, key=lambda one: one.key[1], reverse=True):
        if entry.key[0] == "bit-weight-wrong" and not any(bool(np.any(entry.shows & other)) for other in alone):
            alone.append(entry.shows)
    assert 3 * len(alone) == short_of("tarn-vg-1").settings == 15


def test_settings_asked_for_by_name_are_visited() -> None:
    assert 10 in short_of("skerry-hr-4").fine[5]
    assert "500mV 70 % by name" in short_of("skerry-hr-4").musts
    plain = shorten(law_of("corrie-ur-2"), detect=1, least_percent=2.44, most=1)
    asked = shorten(law_of("corrie-ur-2"), detect=1, least_percent=2.44, most=1, also=((1, 7), (4, 9)))
    assert 7 in asked.fine[1]
    assert 9 in asked.fine[4]
    assert plain.settings <= asked.settings <= plain.settings + 2


@pytest.mark.parametrize("device", JOBS)
def test_every_bit_is_seen_both_ways_and_every_relay_in_both_states(device: str) -> None:
    law, chosen, whole = law_of(device), visited(device), everything(device)
    for bit in range(whole[0].state.word.bits):
        seen = {one.state.word.value >> bit & 1 for one in chosen}
        assert seen == {one.state.word.value >> bit & 1 for one in whole}, bit
    relays = [law.relays_of(dict(one.state.controls)) for one in whole]
    held = [law.relays_of(dict(one.state.controls)) for one in chosen]
    for relay in frozenset().union(*relays):
        closed = sum(relay in one for one in held)
        assert min(closed, len(held) - closed) >= 3, relay


@pytest.mark.parametrize("device", JOBS)
def test_the_ends_each_range_and_both_sides_of_the_carry_are_visited(device: str) -> None:
    chosen, whole = visited(device), everything(device)
    gains = [one.gain_codes_per_v for one in whole]
    assert {min(gains), max(gains)} <= {one.gain_codes_per_v for one in chosen}
    assert {one.setting.coarse for one in chosen} == {one.setting.coarse for one in whole}
    codes = {one.setting: int(one.state.control(law_of(device).code_control)) for one in whole}
    top = max(codes.values()).bit_length() - 1
    pairs = [
        (codes[a.setting] >> top, codes[b.setting] >> top)
        for a in chosen
        for b in chosen
        if a.setting.coarse == b.setting.coarse and b.setting.fine == a.setting.fine + 1
    ]
    assert {(0, 1), (1, 0)} & set(pairs)


@pytest.mark.parametrize("device", JOBS)
def test_every_fault_is_shown_by_three_settings_where_the_whole_ladder_has_them(device: str) -> None:
    short = short_of(device)
    assert not [one.fault for one in short.shown if one.short_of]
    assert all(one.least >= min(3, one.full) for one in short.shown)
    assert {"data-bits-swapped", "relay-not-picking", "pregain-bit-stuck"} <= {one.fault for one in short.shown}
    assert short.full_prediction_percent < short.prediction_percent <= READING_PERCENT


def test_the_shipped_file_is_what_the_command_chooses() -> None:
    setup = read_setup(str(CONFIGS / "jobs" / "skerry-hr-4-short.toml"))
    assert setup.short is not None
    assert setup.short.device_version == setup.device.version
    rows = {row.coarse: row.fine for row in setup.short.range}
    chosen = zip(setup.law.coarse_names, short_of("skerry-hr-4").fine, strict=True)
    assert rows == {name: fine for name, fine in chosen if fine}
    assert len(setup.planned()) == 4 * sum(map(len, rows.values()))


def test_structure_alone_takes_fewer_and_names_no_fault() -> None:
    short = shorten(law_of("skerry-hr-4"), detect=3, least_percent=2.44, most=1, catalogue=False)
    assert short.shown == ()
    assert short.settings < short_of("skerry-hr-4").settings


def test_steps_between_ranges_ask_for_one_position_in_all() -> None:
    short = shorten(law_of("corrie-ur-2"), detect=3, least_percent=4.6, coarse_steps=True)
    assert frozenset.intersection(*map(frozenset, short.fine))
    assert short.settings <= 0.13 * 205


def test_no_detection_at_all_is_refused() -> None:
    with pytest.raises(UsageError, match="detect 0; allowed is 1 or more"):
        shorten(law_of("corrie-ur-2"), detect=0, least_percent=2.0)


def test_the_cover_is_the_smallest_where_that_is_known() -> None:
    """Two settings meet all: greedy begins with the widest one and needs three, unless the idle one is dropped."""
    rows = ["110100", "101010", "011001"]
    demands = [
        Must(what=row, places=np.asarray([digit == "1" for digit in row]), least=2) for row in rows
    ]
    model = Model(matrix=np.ones((6, 1)), prior=np.eye(1))
    assert len(covering(demands, model)) == 3
    assert covering(demands, model) == (0, 1, 2)


def test_an_exchange_finds_the_ends_of_a_straight_line() -> None:
    """A line fitted to two points predicts best from both ends: G-optimal by Smith 1918."""
    at = np.linspace(-1.0, 1.0, 9)
    model = Model(matrix=np.column_stack([np.ones(9), at]), prior=np.eye(2) * 1e-9)
    free = [Must(what="any", places=np.ones(9, dtype=np.bool_), least=2)]
    assert exchanged((3, 4), free, model) == (0, 8)
    # Variance at an end from its own reading alone: that of a reading.
    assert model.worst_percent((0, 8)) == pytest.approx(READING_PERCENT, rel=1e-6)
    middle = [Must(what="middle", places=np.arange(9) == 4, least=1)]
    assert 4 in exchanged((3, 4), middle, model)


def test_one_unit_of_fifty_is_audited_and_always_the_same() -> None:
    units = [f"A{number}" for number in range(5000)]
    audited = [unit for unit in units if is_audited(unit, every=50)]
    # Binomial: 100 on average, standard deviation 9.9; four of them.
    assert 60 <= len(audited) <= 140
    assert audited == [unit for unit in units if is_audited(unit, every=50)]
    assert not any(is_audited(unit, every=0) for unit in units)
    assert all(is_audited(unit, every=1) for unit in units[:5])


def test_a_device_with_one_setting_has_nothing_to_leave_out() -> None:
    law = law_of("corrie-ur-2")
    single = dataclasses.replace(law, arithmetic_ratio=law.arithmetic_ratio[:1])
    with pytest.raises(UsageError, match="the device has one setting"):
        shorten(single, detect=1, least_percent=2.0)
