"""Faults worked out by hand from the planned states: each is named, at its place, among the best three."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from harness.diagnosis import (
    FACTORS,
    KNOWN,
    REGULAR_GAPS,
    Case,
    Diagnosis,
    Sight,
    Visit,
    diagnose,
    match_factor,
    not_exercised,
)
from harness.diagnosis.candidates import DEVICE_PROVEN
from harness.diagnosis.chance import chi_square_999
from harness.diagnosis.spread import Spread
from harness.values import Prediction, Setting

CODE_BITS = 8


def code(p: Prediction) -> int:
    return int(p.state.control("code"))


def names(found: Diagnosis) -> list[str]:
    assert all(c.why and c.test and c.look and c.predicts and c.id for c in found.candidates)
    return [c.fault for c in found.candidates]


@pytest.mark.parametrize("seed", range(5))
def test_nothing_is_named_where_everything_is_met(ci: Any, seed: int) -> None:
    assert diagnose(ci.good(seed=seed)) == Diagnosis(candidates=())


def test_nothing_is_named_without_readings(ci: Any) -> None:
    empty = dataclasses.replace(ci.good(), visits=())
    assert diagnose(empty).candidates == ()
    one = ci.good()
    deaf = tuple(dataclasses.replace(v, off_percent=None, sound=False) for v in one.visits[:2])
    few = dataclasses.replace(one, visits=deaf, failed={1: frozenset({"gain"})})
    assert diagnose(few).candidates[0].fault == "capture-incomplete"


# Closed form: the gain is proportional to the code.
@pytest.mark.parametrize("bit", range(CODE_BITS))
@pytest.mark.parametrize(("level", "name"), [(0, "data-bit-stuck-low"), (1, "data-bit-stuck-high")])
def test_a_stuck_bit_comes_first_with_number_and_channel(ci: Any, bit: int, level: int, name: str) -> None:
    def stuck(p: Prediction, _: Visit) -> float:
        return (level - (code(p) >> bit & 1)) * 2**bit / code(p)

    found = diagnose(ci.wrong(ci.good(), stuck, channel=2))
    assert names(found)[0] == name
    assert found.candidates[0].why.startswith(f"channel 2: bit {bit}, words on the bus right")
    assert found.none_of_these == ""
    assert found.candidates[0].confidence_ratio is not None
    assert found.candidates[0].confidence_ratio > 0.5


@pytest.mark.parametrize("on_bus", [False, True])
@pytest.mark.parametrize(
    ("name", "transform"),
    [
        ("data-bits-swapped", lambda w: w ^ (((w >> 5 ^ w >> 6) & 1) << 5 | ((w >> 5 ^ w >> 6) & 1) << 6)),
        ("data-bits-shorted", lambda w: w | 0x60 if w & 0x60 else w),
        ("word-polarity-inverted", lambda w: w ^ 0xFF),
        ("bit-order-reversed", lambda w: int(f"{w:09b}"[::-1], 2)),
        ("wrong-clock-edge", lambda w: w >> 1),
        ("extra-clock-edge", lambda w: (w << 1 | w & 1) & 0x1FF),
    ],
)
def test_a_wrong_word_is_named_seen_on_the_bus_or_not(ci: Any, name: str, transform: Any, on_bus: bool) -> None:
    def gain(p: Prediction, _: Visit) -> float:
        word = transform(p.state.word.value)
        controls = {**dict(p.state.controls), "pregain": word >> 8, "code": word & 0xFF}
        return ci.law.gain_of(controls) * p.state.arithmetic_ratio / p.gain_codes_per_v - 1.0

    case = ci.wrong(ci.good(), gain, channel=1)
    if on_bus:
        seen = [dataclasses.replace(v, word=transform(v.word)) if v.setting.channel == 1 else v for v in case.visits]
        case = dataclasses.replace(case, visits=tuple(seen), failed={1: frozenset({"gain", "word"})})
    found = diagnose(case)
    assert names(found)[0] == name
    assert ("the bus shows it" if on_bus else "words on the bus right") in found.candidates[0].why


def test_a_frozen_register_is_a_latch_or_a_clock(ci: Any) -> None:
    def frozen(p: Prediction, _: Visit) -> float:
        return ci.law.gain_of({**dict(p.state.controls), "pregain": 0, "code": 128}) * p.state.arithmetic_ratio \
            / p.gain_codes_per_v - 1.0  # fmt: skip

    case = ci.wrong(ci.good(), frozen, channel=2)
    silent = dataclasses.replace(
        case, visits=tuple(dataclasses.replace(v, word=None) if v.setting.channel == 2 else v for v in case.visits)
    )
    for one, seen in ((case, "words on the bus right"), (silent, "the bus shows it")):
        found = diagnose(one)
        assert names(found)[:2] == ["latch-missing", "clock-line-dead"]
        assert found.candidates[0].why == f"channel 2: word 80, {seen}"
        assert found.candidates[0].ambiguous == ("clock-line-dead",)
    nothing = dataclasses.replace(
        silent, visits=tuple(dataclasses.replace(v, off_percent=None, measurable=False) for v in silent.visits),
        failed={1: frozenset({"measurable"}), 2: frozenset({"measurable"})},
    )  # fmt: skip
    alone = dataclasses.replace(nothing, visits=tuple(v for v in nothing.visits if v.setting.channel == 2))
    assert names(diagnose(alone))[0] == "latch-missing"


def test_a_late_latch_turns_its_sign_with_the_sweep(ci: Any) -> None:
    case = ci.good()
    before: dict[int, int] = {}
    order = sorted((v for v in case.visits if v.setting.channel == 2), key=lambda v: v.order)
    for last, here in pairwise(order):
        before[here.order] = ci.law.predict(last.setting).state.word.value

    def late(p: Prediction, v: Visit) -> float:
        word = before.get(v.order, p.state.word.value)
        controls = {**dict(p.state.controls), "pregain": word >> 8, "code": word & 0xFF}
        return ci.law.gain_of(controls) * p.state.arithmetic_ratio / p.gain_codes_per_v - 1.0

    assert names(diagnose(ci.wrong(case, late, channel=2)))[0] == "latch-one-frame-late"


def attenuator(state: str, factor: float) -> Any:
    return lambda p, v: factor - 1.0 if p.state.control("attenuator") == state else 0.0


@pytest.mark.parametrize(
    ("error", "name", "said"),
    [
        (attenuator("1:10", 10.0), "relay-not-picking", "relay K1"),
        (attenuator("1:100", 100.0), "relay-not-picking", "relay K2"),
        (attenuator("1:1", 0.1), "relay-stuck-on", "relay K1"),
        (attenuator("1:10", 1.06), "attenuator-resistor-wrong", "attenuator 1:10, size +5.8"),
        (attenuator("1:100", 0.98), "attenuator-resistor-wrong", "attenuator 1:100, size -2.0"),
        (lambda p, v: 0.02 if p.state.control("pregain") else 0.0, "pregain-ratio-wrong", "pregain, size +"),
        (lambda p, v: 0.0 if p.state.control("pregain") else 3.0, "pregain-bit-stuck", "pregain always 1"),
        (lambda p, v: -0.75 if p.state.control("pregain") else 0.0, "pregain-bit-stuck", "pregain always 0"),
        (lambda p, v: 0.04 * (code(p) & 128) / code(p), "bit-weight-wrong", "bit 7, size +3.9"),
        (lambda p, v: 0.05 if p.setting.coarse == 4 else 0.0, "calibration-of-another-unit", "range 1V, size +4.8"),
        (lambda p, v: 0.05 if p.setting.coarse == 4 and p.setting.fine == 5 else 0.0, "scale-row-wrong", "row 1V"),
        (lambda p, v: 0.04, "load-resistor-wrong", "size +"),
        (lambda p, v: 1.0, "load-resistor-missing", "×2"),
    ],
)
def test_a_block_is_its_part(ci: Any, error: Any, name: str, said: str) -> None:
    found = diagnose(ci.wrong(ci.good(), error, channel=2))
    assert names(found)[0] == name
    assert said in found.candidates[0].why
    assert found.none_of_these == ""
    # One sound channel excludes whatever both share.
    assert not any(KNOWN[c.fault].station for c in found.candidates if c.fault in (found.candidates[0].ambiguous or ()))


def test_two_relays_exchanged(ci: Any) -> None:
    swapped = {"1:10": -0.9, "1:100": 9.0, "1:1": 0.0}
    found = diagnose(ci.wrong(ci.good(), lambda p, v: swapped[str(p.state.control("attenuator"))], channel=1))
    assert names(found)[0] == "relay-drivers-swapped"
    assert "1:10 and 1:100" in found.candidates[0].why


def test_a_wrong_row_of_words_is_followed_by_the_gain(ci: Any) -> None:
    case = ci.good()
    row = Setting(1, 4, 10)
    moved = ci.wrong(case, lambda p, v: 16 / code(p) if v.setting == row else 0.0, channel=1,
                     failed=frozenset({"gain", "word"}))  # fmt: skip
    shown = tuple(dataclasses.replace(v, word=v.word + 16) if v.setting == row else v for v in moved.visits)
    assert names(diagnose(dataclasses.replace(moved, visits=shown)))[0] == "word-table-row-wrong"


def test_an_event_is_no_row(ci: Any) -> None:
    case = ci.good()
    found = diagnose(ci.wrong(case, lambda p, v: -0.9 if v.order == 20 else 0.0, channel=1))
    assert names(found)[0] == "intermittent-joint"
    assert "once at" in found.candidates[0].why


def test_first_readings_after_a_relay_are_late_relays(ci: Any) -> None:
    case = ci.good()
    visits = sorted(case.visits, key=lambda v: v.order)
    first = {b.order for a, b in pairwise(visits) if a.setting.coarse != b.setting.coarse}
    late = [diagnose(ci.wrong(case, lambda p, v: -0.05 if v.order in first else 0.0, channel=c)) for c in (1, 0)]
    assert names(late[0])[0] == "relay-settles-late"
    # One sound channel clears our own waits; on all channels they cannot be told from the relays.
    assert "settle-too-short" not in (*names(late[0]), *late[0].candidates[0].ambiguous)
    assert "settle-too-short" in names(late[1])


@pytest.mark.parametrize(
    ("factor", "device", "station"),
    [
        (2.0, "load-resistor-missing", "source-load-mis-set"),
        (0.5, "load-resistor-missing", "source-load-mis-set"),
        (2.0 / 3.0, "", "terminator-wrong"),
        (2.0 * math.sqrt(2.0), "", "unit-mix-up"),
        (10.0, "relay-not-picking", "probe-factor-wrong"),
        (1.04, "load-resistor-wrong", "source-load-mis-set"),
    ],
)
def test_one_factor_on_everything_names_device_and_station(ci: Any, factor: float, device: str, station: str) -> None:
    found = diagnose(ci.wrong(ci.good(), lambda p, v: factor - 1.0))
    assert {device, station} - {""} <= set(names(found))
    assert station in (*found.candidates[0].ambiguous, found.candidates[0].fault)


def test_the_devices_own_noise_puts_the_device_first(ci: Any) -> None:
    case = ci.wrong(ci.good(), lambda p, v: -0.5)
    assert names(diagnose(case))[0] == "source-load-mis-set"
    proven = dataclasses.replace(case, notes=(f"the {DEVICE_PROVEN}, so",))
    assert names(diagnose(proven))[:2] == ["load-resistor-missing", "source-load-mis-set"]


def test_channels_with_faults_of_their_own_get_a_candidate_each(ci: Any) -> None:
    one = ci.wrong(ci.good(), attenuator("1:10", 10.0), channel=1)
    both = ci.wrong(one, lambda p, v: 0.05 if p.state.control("pregain") else 0.0, channel=2)
    assert set(names(diagnose(both))) == {"relay-not-picking", "pregain-ratio-wrong"}


def test_what_no_known_fault_does_is_none_of_these(ci: Any) -> None:
    wild = ci.wrong(ci.good(), lambda p, v: 0.1 * math.sin(p.setting.fine * 7.0 + p.setting.coarse**2), channel=1)
    found = diagnose(wild)
    assert found.none_of_these.startswith("none of these: what the best one (")
    assert "chance allows" in found.none_of_these


@pytest.mark.parametrize(
    ("item", "name"),
    [
        ("bus-timing", "setup-hold-marginal"),
        ("offset", "input-offset"),
        ("noise", "excess-noise"),
        ("two-level", "output-compression"),
        ("clip-level", "supply-rail-low"),
        ("polarity", "leaky-clamp"),
        ("second-frequency", "attenuator-compensation-wrong"),
        ("toggle-scatter", "relay-contact-film"),
        ("crosstalk", "channel-crosstalk"),
        ("missing-codes", "converter-missing-codes"),
    ],
)
def test_what_leaves_the_gain_alone_is_named_by_what_it_fails(ci: Any, item: str, name: str) -> None:
    case = dataclasses.replace(ci.good(), failed={1: frozenset({item})})
    assert names(diagnose(case))[0] == name
    # Without that claim nothing speaks for it.
    assert name not in names(diagnose(ci.wrong(ci.good(), attenuator("1:10", 10.0), channel=1)))


def test_regular_gaps_in_the_codes_are_lost_bits_whatever_noise_they_make(ci: Any) -> None:
    failed = frozenset({"missing-codes", REGULAR_GAPS, "noise"})
    assert names(diagnose(dataclasses.replace(ci.good(), failed={1: failed})))[0] == "converter-bits-lost"
    noisy = dataclasses.replace(ci.good(), failed={1: frozenset({"missing-codes", "noise"})})
    assert "converter-bits-lost" not in names(diagnose(noisy))


def test_a_tone_that_swamps_a_record_is_no_clamp(ci: Any) -> None:
    """With the source off a clamp is still and a tone is not."""
    swamped = frozenset({"noise", "input-noise", "two-level", "polarity"})
    assert "oscillation" in names(diagnose(dataclasses.replace(ci.good(), failed={1: swamped})))
    bent = dataclasses.replace(ci.good(), failed={1: swamped - {"input-noise"}})
    assert names(diagnose(bent))[0] == "leaky-clamp"


def test_arithmetic_is_named_by_words_and_by_realness(ci: Any) -> None:
    case = dataclasses.replace(ci.good(), failed={1: frozenset({"realness", "word"})})
    first = {v.setting.coarse: v.word for v in reversed(case.visits) if v.setting.fine == 0}
    mine = [v.setting.channel == 1 for v in case.visits]
    seen = [dataclasses.replace(v, word=first[v.setting.coarse]) for v in case.visits]
    shown = tuple(new if own else old for own, new, old in zip(mine, seen, case.visits, strict=True))
    assert names(diagnose(dataclasses.replace(case, visits=shown)))[0] == "fine-gain-arithmetic"
    only = dataclasses.replace(ci.good(), failed={1: frozenset({"realness"})})
    assert names(diagnose(only))[0] == "fine-gain-arithmetic"


def test_invalid_readings_point_to_the_link(ci: Any) -> None:
    case = ci.good()
    lost = dataclasses.replace(
        case, visits=tuple(dataclasses.replace(v, off_percent=None, trouble="ReadTimeout") for v in case.visits)
    )
    assert names(diagnose(lost)) == ["reply-missing", "reply-late"]


# A law in dB: a bit of weight 2^i is 0.05 · 2^i dB wherever it is set.
@pytest.mark.parametrize("bit", [3, 5, 8])
def test_a_stuck_bit_of_a_law_in_db(corrie: Any, bit: int) -> None:
    def stuck(p: Prediction, _: Visit) -> float:
        return 10.0 ** (-0.05 * (code(p) & 1 << bit) / 20.0) - 1.0

    found = diagnose(corrie.wrong(corrie.good(), stuck))
    assert "data-bit-stuck-low" in names(found)
    assert f"bit {bit}" in next(c.why for c in found.candidates if c.fault == "data-bit-stuck-low")


@pytest.mark.parametrize(
    ("error", "name"),
    [
        (lambda p, v: -0.9 if p.state.control("section") == "x10" else 0.0, "relay-not-picking"),
        (lambda p, v: -0.99 if p.state.control("section") == "x100" else 0.0, "relay-not-picking"),
        (lambda p, v: 0.2 if p.state.control("second") else 0.0, "pregain-ratio-wrong"),
        (lambda p, v: 0.06 if p.state.control("section") == "x10" else 0.0, "attenuator-resistor-wrong"),
    ],
)
def test_the_parts_of_a_law_in_db_have_names(corrie: Any, error: Any, name: str) -> None:
    assert names(diagnose(corrie.wrong(corrie.good(), error)))[0] == name


def test_what_a_run_cannot_see_is_listed_with_what_it_needs(ci: Any) -> None:
    lines = not_exercised(ci.good())
    assert any("F37 output-compression" in line and line.endswith("needs readings at two levels") for line in lines)
    assert not any("F01" in line for line in lines)
    blind = dataclasses.replace(ci.good(channels=(1,)), captured=False)
    assert any("F18 word-table-row-wrong" in line for line in not_exercised(blind))
    assert any("F13 latches-crossed" in line and "several channels" in line for line in not_exercised(blind))
    one: Case = dataclasses.replace(blind, visits=tuple(v for v in blind.visits if v.setting.coarse == 0))
    assert any("F21 relay-not-picking" in line for line in not_exercised(one))


def test_what_a_job_shows_besides_is_seen_and_names_its_faults_sooner(ci: Any) -> None:
    shown = frozenset({Sight.LOW_FREQUENCY, Sight.RESISTANCE})
    case = dataclasses.replace(ci.good(), failed={1: frozenset({"second-frequency"})})
    assert names(diagnose(dataclasses.replace(case, beside=shown)))[0] == "coupling-capacitor-wrong"
    assert names(diagnose(case))[0] == "attenuator-compensation-wrong"
    assert not any("F49" in line or "F50" in line for line in not_exercised(dataclasses.replace(case, beside=shown)))
    factor = ci.wrong(ci.good(), lambda p, v: 0.04)
    assert "input-resistor-wrong" in names(diagnose(dataclasses.replace(factor, beside=shown)))
    assert "input-resistor-wrong" not in names(diagnose(factor))


def test_the_point_of_chi_square_is_that_of_a_library() -> None:
    from scipy.stats import chi2

    # The cube root is an approximation: 3 % off at one degree of freedom, better than 2 % from three on.
    for dof, accuracy in ((1, 0.04), (3, 0.02), (10, 0.008), (50, 0.002), (150, 0.001), (400, 0.001)):
        assert chi_square_999(dof) == pytest.approx(float(chi2.ppf(0.999, dof)), rel=accuracy)
    # Table value: 209.3 for 150 degrees of freedom.
    assert chi_square_999(150) / 150 == pytest.approx(1.40, abs=0.01)


def test_every_fault_of_the_factors_is_known() -> None:
    named = {name for row in FACTORS for name in (row.device_fault, row.station_fault) if name}
    assert named <= set(KNOWN)
    assert all(row.station_fault or row.device_fault for row in FACTORS)
    assert match_factor(float(np.float64(2.0)))[0].station_fault == "source-load-mis-set"


def test_distances_are_those_of_the_whole_covariance() -> None:
    generator = np.random.default_rng(4)
    n, groups = 30, 12
    spread = Spread(
        own=generator.uniform(0.5, 2.0, n),
        group=generator.integers(0, groups, n),
        shared=generator.uniform(0.0, 1.0, groups),
        columns=generator.normal(size=(n, 3)),
    )
    same = spread.group[:, None] == spread.group[None, :]
    whole = np.diag(spread.own) + np.where(same, spread.shared[spread.group], 0.0) + spread.columns @ spread.columns.T
    a, b = generator.normal(size=(2, n))
    solver = spread.solver()
    assert solver.product(a, b) == pytest.approx(float(a @ np.linalg.solve(whole, b)))
    assert solver.log_size == pytest.approx(float(np.linalg.slogdet(whole)[1]))
    np.testing.assert_allclose(spread.diagonal(), np.diag(whole))


def test_a_contact_that_makes_anew_has_a_level_for_each_stretch(ci: Any) -> None:
    generator = np.random.default_rng(5)
    levels = generator.normal(0.0, 0.004, 30)

    def film(p: Prediction, v: Visit) -> float:
        up = v.order < len(ci.good(channels=(1,)).visits) // 2
        return float(levels[p.setting.coarse + (0 if up else 15)])

    case = ci.wrong(ci.good(channels=(1,)), film, failed=frozenset({"toggle-scatter"}))
    assert names(diagnose(case))[:2] == ["relay-contact-film", "fixture-worn"]


# The other channels rest at the least gain on the same source: a part of it adds, the more the lower the own gain.
def test_what_leaks_from_channels_at_rest_matters_most_at_low_gain(ci: Any) -> None:
    least = ci.law.places[0][0].gain_codes_per_v
    leak = ci.wrong(
        ci.good(),
        lambda p, v: 0.03 * least / p.gain_codes_per_v,
        channel=1,
        failed=frozenset({"gain", "crosstalk"}),
    )
    assert names(diagnose(leak))[0] == "channel-crosstalk"
    swapped = ci.wrong(ci.good(), lambda p, v: least / p.gain_codes_per_v - 1.0)
    assert names(diagnose(swapped))[0] == "cables-swapped"


# 1.2 is an exact factor of the station; a resistor explains it too, and stands with all that do the same.
def test_a_candidate_stands_with_those_that_do_the_very_same(corrie: Any) -> None:
    found = diagnose(corrie.wrong(corrie.good(), lambda p, v: 0.2))
    assert names(found)[:2] == ["terminator-wrong", "load-resistor-wrong"]
    assert "external-feedback-resistor" in found.candidates[1].ambiguous
    assert "terminator-wrong" not in found.candidates[1].ambiguous


# A bit that no code of the ladder sets, stuck high, is one factor on everything: a resistor is likelier.
def test_one_factor_on_everything_is_no_wrong_word_first(corrie: Any) -> None:
    found = diagnose(corrie.wrong(corrie.good(), lambda p, v: 0.04))
    assert "load-resistor-wrong" in names(found)


# Declared arithmetic doubles the codes of the least range: its amplifiers see half the level, a quarter of the loss.
def test_compression_shows_where_arithmetic_makes_up_the_fill(ci: Any) -> None:
    case = ci.wrong(ci.good(), lambda p, v: -0.012 / p.state.arithmetic_ratio**2, channel=2)
    found = diagnose(case)
    assert names(found)[0] == "output-compression"
    assert found.none_of_these == ""


# 0.3 % a decade: one decade more before the first reading of a range, three before the first of all.
@pytest.mark.parametrize("decades", [0.6, 1.0])
def test_slow_settling_follows_the_wait(ci: Any, decades: float) -> None:
    visits = {v.order: v for v in ci.good().visits if v.setting.channel == 2}
    first = min(visits)

    def creeping(p: Prediction, v: Visit) -> float:
        before = visits.get(v.order - 1)
        stood = before is None or before.setting.coarse != v.setting.coarse or before.setting == v.setting
        waited = decades * stood + 2.0 * (v.order == first)
        return -0.003 * (3.0 - waited)

    found = diagnose(ci.wrong(ci.good(), creeping, channel=2, failed=frozenset({"up-down"})))
    assert names(found)[0] == "slow-settling"
    assert found.none_of_these == ""


def test_right_words_without_gains_say_nothing(ci: Any) -> None:
    case = ci.good()
    gone = tuple(dataclasses.replace(v, off_percent=None, trouble="ReadBackDiffers") for v in case.visits)
    found = diagnose(dataclasses.replace(case, visits=gone, failed={1: frozenset({"realness"})}))
    assert names(found) == ["stale-record", "setting-coerced", "averaging-left-on"]
