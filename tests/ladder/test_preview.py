"""Rows and summary of a ladder, by hand for the Skerry HR-4."""

from __future__ import annotations

import itertools
import math

import pytest

from harness.ladder import preview_rows, preview_summary
from harness.values import Direction


def test_a_row_by_hand(workshop) -> None:
    rungs = workshop.build(channels=[2], coarse=["5V", "2V"], fine=[0], directions=["up"])
    row = preview_rows(rungs, workshop.law)[1]
    assert (row.index, row.direction, row.label, row.word) == (1, Direction.UP, "ch2 2V 100 %", "latch-2:029")
    assert row.controls == "attenuator=1:10 pregain=0 code=41"
    # 0.1 · 41 · 128/255 · 0.5 = 1.0290196 V/V = 0.2485 dB
    assert row.gain_codes_per_v == pytest.approx(2058.0392156862745)
    assert row.gain_db == pytest.approx(20 * math.log10(1.0290196078431373), abs=1e-9)
    assert row.drive_vpk == rungs[1].drive_vpk
    assert row.fill_ratio == rungs[1].fill_ratio
    assert (row.relay_toggles, row.relays) == (2, ("K1", "K2"))


def test_declared_arithmetic_is_said(workshop) -> None:
    rungs = workshop.build(channels=[1], coarse=["20mV", "10mV"], fine=[0], directions=["up"])
    hardware, doubled = preview_rows(rungs, workshop.law)
    assert doubled.controls == hardware.controls + " ×2 arithmetic"
    assert doubled.word == hardware.word == "latch-1:166"
    assert doubled.gain_db - hardware.gain_db == pytest.approx(6.020599913, abs=1e-9)


def test_one_row_for_each_rung(workshop) -> None:
    rungs = workshop.build(channels=[1])
    rows = preview_rows(rungs, workshop.law)
    assert [(r.index, r.label, r.relay_toggles) for r in rows] == [
        (r.index, r.prediction.label, r.relay_toggles) for r in rungs
    ]


def test_the_summary_of_the_whole_ladder(workshop) -> None:
    summary = preview_summary(workshop.build(), workshop.law, workshop.device)
    assert (summary.settings, summary.readings) == (924, 1848)
    # each direction and channel: K1 picks and releases, K2 changes once
    assert summary.relay_toggles == (("K1", 16), ("K2", 8))
    assert (summary.codes[0], summary.codes[-1]) == (41, 255)
    assert summary.codes == tuple(sorted(set(summary.codes)))
    # records 1848 · 8 ms; 11 ranges, the turn at the top keeps its range: 21 coarse waits a channel, else fine ones
    assert summary.duration_s == pytest.approx(1848 * 0.008 + 4 * 21 * 0.010 + (1848 - 84) * 0.001)


def test_the_largest_fine_step(workshop) -> None:
    summary = preview_summary(workshop.build(directions=["up"]), workshop.law, workshop.device)
    law = workshop.law
    codes = [[p.state for p in law.predictions([1]) if p.setting.coarse == c] for c in range(11)]
    steps_db = [
        20 * math.log10(law.gain_of(dict(b.controls)) / law.gain_of(dict(a.controls)))
        for states in codes
        for a, b in itertools.pairwise(states)
    ]
    assert summary.largest_fine_step_db == pytest.approx(max(steps_db), abs=1e-9)
    assert 0.5 < summary.largest_fine_step_db < 1.0


def test_a_short_ladder_names_relays_that_rest(workshop) -> None:
    rungs = workshop.build(channels=[1], coarse=["20V"], fine=[4], directions=["up"])
    summary = preview_summary(rungs, workshop.law, workshop.device)
    assert (summary.settings, summary.readings) == (1, 1)
    assert summary.relay_toggles == (("K2", 0),)
    assert summary.largest_fine_step_db is None


def test_a_device_without_a_bus_has_no_words(workshop) -> None:
    del workshop.device_data["bus"]
    rungs = workshop.build(channels=[1], coarse=["20V"], fine=[0], directions=["up"])
    assert preview_rows(rungs, workshop.law)[0].word == ""
