"""Units of a lot, streams by name, temperature and relay cycles: closed forms and properties."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.simulated.climate import Climate
from harness.simulated.corrie_ur2 import CorrieTruth
from harness.simulated.course import Course
from harness.simulated.parameters import ClimateTruth
from harness.simulated.skerry_hr4 import SkerryTruth
from harness.simulated.streams import Lineage, stream, within
from harness.simulated.tarn_vg1 import TarnTruth

UNITS = {"skerry": SkerryTruth(), "tarn": TarnTruth(), "corrie": CorrieTruth()}


def lineage(unit: str, *, lot: str = "A", share: float = 0.5, root: int = 1) -> Lineage:
    return Lineage(root=root, lot=lot, unit=unit, share=share)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), name=st.sampled_from(("pre-gain", "bit 3", "common")), other=st.text(max_size=20))
def test_a_part_draws_the_same_whatever_other_parts_there_are(seed, name, other):
    first = within(seed, f"channel-1/{name}", 1.0)
    within(seed, f"channel-1/{other}", 1.0)
    stream(seed, other).normal(size=5)
    assert within(seed, f"channel-1/{name}", 1.0) == first
    assert within(seed, f"channel-2/{name}", 1.0) != first
    assert abs(first) <= 1.0


@pytest.mark.parametrize("unit", UNITS.values(), ids=UNITS)
def test_a_new_kind_of_tolerance_shifts_no_other_part(unit):
    warm = unit.spread.model_copy(update={"tempco_ppm": 50.0, "relay_tempco_ppm": 20.0, "offset_out_code": 9.0})
    before, after = unit.draw(1, 5), unit.model_copy(update={"spread": warm}).draw(1, 5)
    word = unit.most_word
    assert after.word_gain(word) == before.word_gain(word)
    assert np.array_equal(after.thresholds_code, before.thresholds_code)
    assert after.tempco_per_k == pytest.approx(before.tempco_per_k * 50.0 / 15.0)
    assert after.offset_out_code == pytest.approx(before.offset_out_code * 9.0 / 4.0)


def values(share: float, units: int = 300) -> np.ndarray:
    return np.array(
        [
            [within(lineage(str(u), lot=lot, share=share), "channel-1/bit 3", 1.0) for u in range(units)]
            for lot in "ABCDEF"
        ]
    )


def test_share_is_the_share_of_variance_that_a_lot_has_in_common():
    alike, own = values(1.0, 5), values(0.0)
    assert np.ptp(alike, axis=1).max() == 0.0
    # A normal of 0.4, cut off at 1: standard deviation 0.4 * sqrt(1 - 2 z phi(z) / (2 Phi(z) - 1)) with z = 2.5.
    phi = math.exp(-3.125) / math.sqrt(2.0 * math.pi)
    cut = 0.4 * math.sqrt(1.0 - 5.0 * phi / math.erf(2.5 / math.sqrt(2.0)))
    assert own.std() == pytest.approx(cut, rel=0.05)
    half = values(0.5)
    assert half.std(axis=1).mean() == pytest.approx(cut * math.sqrt(0.5), rel=0.08)
    assert np.abs(half).max() <= 1.0
    assert np.ptp(half.mean(axis=1)) > 0.2


def test_units_of_a_lot_are_alike_and_no_two_the_same():
    unit = UNITS["skerry"]
    first, again, second = (unit.draw(1, lineage(name)) for name in ("U1", "U1", "U2"))
    assert first.pregain_ratio == again.pregain_ratio != second.pregain_ratio
    assert first.bit_error_ratio == again.bit_error_ratio != second.bit_error_ratio
    assert unit.draw(1, lineage("U1", lot="B")).pregain_ratio != first.pregain_ratio
    assert unit.draw(1, lineage("U1", root=2)).pregain_ratio != first.pregain_ratio


LOT = '[simulation.lot]\nname = "K7"\nunit = 3\n\n[simulation.adapter]'


def test_the_serial_number_says_which_unit_of_the_lot_it_is(make_desk, make_bench):
    from harness.simulated import JumpClock, build_world

    def pregain(serial, change=lambda text: text.replace("[simulation.adapter]", LOT)):
        world = build_world(make_bench(change), seed=1, faults=(), clock=JumpClock(), file="b.toml", serial=serial)
        return world.device.front_ends[1].parts.pregain_ratio

    assert pregain("S1") == pregain("S1") != pregain("S2")
    assert pregain("") not in (pregain("S1"), pregain("S2"))
    by_index = lambda text: text.replace("[simulation.adapter]", LOT.replace("unit = 3", "by_serial = false\nunit = 3"))  # noqa: E731
    assert pregain("S1", by_index) == pregain("S2", by_index) == pregain("")
    # Without a lot nothing but the seed counts.
    assert pregain("S1", lambda text: text) == pregain("S2", lambda text: text)


def test_temperature_by_hand():
    truth = ClimateTruth(room_c=25.0, swing_k=2.0, swing_period_s=400.0, self_heating_k=3.0, heating_tau_s=100.0)
    course = Course()
    climate = Climate(truth, course, began_s=10.0)
    # 2 K above 23; a quarter of the period is 100 s: the swing at its top, and 1 - 1/e of the unit's own heat.
    assert climate.warmer_k(10.0) == pytest.approx(2.0)
    assert climate.warmer_k(110.0) == pytest.approx(2.0 + 2.0 + 3.0 * (1.0 - math.exp(-1.0)))
    assert climate.elapsed_s(110.0) == 100.0
    course.asleep_s = 100.0
    assert climate.elapsed_s(10.0) == 100.0
    assert climate.warmer_k(10.0) == pytest.approx(7.0 - 3.0 * math.exp(-1.0))


def test_gain_follows_the_temperature_by_its_coefficients(make_desk):
    """30 K warmer room: codes rise by the coefficient of the gain plus that of the relay in the path."""

    def change(room):
        return lambda text: (
            text.replace("room_c = 23.0", f"room_c = {room}")
            .replace("tempco_ppm = 15.0 ", "tempco_ppm = 900.0 ")
            .replace("self_heating_k = 2.0", "self_heating_k = 0.0")
            .replace("swing_k = 1.0", "swing_k = 0.0")
        )

    gains, coefficient = [], 0.0
    for room in (23.0, 53.0):
        desk = make_desk(change=change(room))
        desk.drive(1.4)
        desk.select(1, 2, 70)
        parts = desk.world.device.front_ends[1].parts
        coefficient = parts.tempco_per_k + parts.relay_tempco_per_k["K1"]
        gains.append(desk.gain(vpp=1.4))
    assert abs(coefficient) > 1e-5
    assert gains[1] / gains[0] - 1.0 == pytest.approx(30.0 * coefficient, abs=5e-5)


def test_relays_count_their_cycles(make_desk):
    desk = make_desk()
    # Power on and the first command: straight to 20 V, K2 picks; then K1, none, K1, K2 and again K2.
    for volts in (20, 2, 0.2, 1, 5, 10):
        desk.select(1, volts, 100)
    before = (desk.ask("device", "INP1:REL:CYCL? K1"), desk.ask("device", "INP1:REL:CYCL? K2"))
    # K1: on, off, on, off; K2: on (at the first command of all), off, on.
    assert before[0] == "4"
    assert int(before[1]) in (2, 3)
    desk.select(1, 10, 40)
    assert (desk.ask("device", "INP1:REL:CYCL? K1"), desk.ask("device", "INP1:REL:CYCL? K2")) == before
    desk.tell("device", "INP1:REL:CYCL? K9")
    assert desk.errors("device") == [-224]


def test_a_board_without_relays_says_so(make_desk):
    desk = make_desk(bench="simulated-tarn-vg-1.toml")
    desk.tell("device", "INP1:REL:CYCL? K1")
    assert desk.errors("device") == [-241]
