"""The explanation on gains made by closed forms."""

from __future__ import annotations

import dataclasses
import datetime
import math

import numpy as np
import pytest

from harness.config import SettingsFile, validate
from harness.errors import LearnError
from harness.learn import Observed, draft_of, explain, find_rule
from harness.learn.explain import Moves, gather, movement_of, nice
from harness.learn.explain.code_field import CodeField
from harness.learn.explain.shapes import Shape, fixed_part, regressors
from harness.learn.write.design_values import simple
from harness.learn.write.path_parts import stage_parts
from harness.learn.write.toml import shown
from harness.values import ControlWord, Realness, Setting
from tests.learn.random_truth import Truth
from tests.learn.session import settings_of

DATE = datetime.date(2026, 11, 30)


def seen(word: int, gain: float | None, *, channel: int = 1, coarse: int = 0, fine: int = 0, bits: int = 8) -> Observed:
    return Observed(
        setting=Setting(channel, coarse, fine),
        words=(ControlWord(f"latch-{channel}", bits, word),),
        gain_codes_per_v=gain,
    )


def linear(*, bits: int = 8) -> list[Observed]:
    """Gain 3 codes/V for each code, times 5 with the top bit."""
    return [
        seen(pregain << 7 | code, 3.0 * code * 5.0**pregain, coarse=pregain, fine=k, bits=bits)
        for pregain in (0, 1)
        for k, code in enumerate(range(20, 120, 7))
    ]


def test_a_law_of_two_factors_is_found_exactly() -> None:
    found = explain(linear())
    assert found.law.hypothesis.shape is Shape.LINEAR_CODE
    assert found.law.hypothesis.field == CodeField(1, 7)
    assert math.exp(found.law.bit_logs[0]) == pytest.approx(5.0, rel=1e-6)
    assert found.sure == "known"
    assert found.gains_codes_per_v() == pytest.approx([o.gain_codes_per_v for o in found_order(linear())], rel=1e-6)


def found_order(observed: list[Observed]) -> list[Observed]:
    return sorted(observed, key=lambda one: one.setting)


@pytest.mark.parametrize(
    ("shape", "gain"),
    [
        (Shape.LINEAR_CODE, lambda c: 0.01 * c),
        (Shape.MDAC_FEEDBACK, lambda c: 400.0 / c),
        (Shape.LINEAR_IN_DB, lambda c: 2.0 * 10.0 ** (0.25 * c / 20.0)),
    ],
)
def test_each_shape_is_told_from_the_others(shape: Shape, gain: object) -> None:
    observed = [seen(code, gain(code), fine=k, bits=7) for k, code in enumerate(range(9, 127, 5))]
    found = explain(observed)
    assert found.law.hypothesis.shape is shape
    assert found.law.scatter_ratio < 1e-6


def test_gains_that_follow_no_law_become_a_table() -> None:
    rng = np.random.default_rng(3)
    steps = np.cumsum(rng.uniform(0.02, 0.4, 25))
    observed = [seen(5 + k, math.exp(step), coarse=c, fine=k, bits=6) for c in (0, 1) for k, step in enumerate(steps)]
    assert explain(observed).law.hypothesis.shape is Shape.TABLE


def test_a_range_that_no_word_tells_apart_is_an_unseen_state() -> None:
    observed = [
        seen(code, 0.01 * code * ratio, coarse=coarse, fine=k, bits=7)
        for coarse, ratio in enumerate((1.0, 10.0, 100.0))
        for k, code in enumerate(range(40, 120, 6))
    ]
    found = explain(observed)
    assert np.exp(found.states.state_logs) == pytest.approx([1.0, 10.0, 100.0], rel=1e-6)
    assert {part.realness for part in found.parts} == {Realness.HARDWARE, Realness.UNPROVEN}


def test_more_gain_with_the_same_word_in_one_range_is_arithmetic() -> None:
    observed = [seen(20 + 5 * k, 20.0 + 5 * k, fine=2 * k) for k in range(12)]
    observed += [seen(20 + 5 * k, 1.2 * (20.0 + 5 * k), fine=2 * k + 1) for k in range(12)]
    found = explain(observed)
    assert [p.ratio for p in found.parts if p.realness is Realness.ARITHMETIC] == pytest.approx([1.2] * 12)


def test_a_remainder_that_makes_names_come_true_is_mixed() -> None:
    """The firmware sends the nearest of a few codes and multiplies the rest."""
    named = {(0, k): 10.0 * 1.03**k for k in range(40)}
    observed = [seen(round(gain), gain, fine=k) for (_, k), gain in named.items()]
    found = explain(observed, named=named)
    assert found.mixed
    mixed = [part for part in found.parts if part.realness is Realness.MIXED]
    assert len(mixed) > 20
    assert all(0.94 < part.ratio < 1.06 for part in mixed)


def test_without_words_the_fine_position_stands_for_them() -> None:
    observed = [
        Observed(setting=Setting(1, c, k), gain_codes_per_v=10.0**c * 10.0 ** (0.5 * k / 20.0))
        for c in range(3) for k in range(12)
    ]  # fmt: skip
    found = explain(observed)
    assert not found.by_words
    assert found.sure == "likely"
    assert found.law.hypothesis.shape is Shape.LINEAR_IN_DB
    assert found.law.shape_weights[0] * 20.0 / math.log(10.0) == pytest.approx(0.5, rel=1e-6)


def test_a_setting_without_a_gain_is_predicted_from_its_word() -> None:
    observed = [dataclasses.replace(o, gain_codes_per_v=None) if o.setting.fine == 3 else o for o in linear()]
    found = explain(observed)
    rows = [row for row, setting in enumerate(found.seen.settings) if setting.fine == 3]
    assert found.gains_codes_per_v()[rows] == pytest.approx([3.0 * 41, 15.0 * 41], rel=1e-6)


def test_movement_tells_fine_bits_from_bits_of_the_range() -> None:
    rows = gather([seen(c << 6 | k, 1.0, coarse=c, fine=k) for c in (0, 1) for k in range(4)])
    moves = movement_of(rows)
    assert moves.places(Moves.COARSE) == (1,)
    assert moves.places(Moves.FINE) == (6, 7)
    assert len(moves.places(Moves.NEVER)) == 5


def test_neighbours_with_the_same_word_are_named() -> None:
    rows = gather([seen(3, 1.0, fine=0), seen(3, 1.0, fine=1), seen(4, 1.0, fine=2)])
    assert movement_of(rows).still == ((0, 1),)


def test_codes_are_read_from_either_end() -> None:
    rows = gather([seen(0b0110_0000, 1.0)])
    assert CodeField(1, 3).codes(rows.bits)[0] == 0b110
    assert CodeField(1, 3, least_first=True).codes(rows.bits)[0] == 0b011


def test_code_zero_has_no_logarithm() -> None:
    assert math.isnan(fixed_part(Shape.LINEAR_CODE, np.asarray([0]))[0])
    assert fixed_part(Shape.LINEAR_IN_DB, np.asarray([0]))[0] == 0.0


def test_between_two_codes_of_a_table_ln_gain_is_a_straight_line() -> None:
    columns = regressors(Shape.TABLE, np.asarray([4]), np.asarray([2, 6, 10]))
    assert columns @ np.asarray([1.0, 3.0]) == pytest.approx([0.5])


@pytest.mark.parametrize(("measured", "meant"), [(9.9948, 10.0), (3.9997, 4.0), (0.2503, 0.25), (7.0826, 7.0826)])
def test_ratios_that_were_meant(measured: float, meant: float) -> None:
    assert simple(measured) == meant


@pytest.mark.parametrize(("measured", "factor"), [(2.0004, 2.0), (2.4999, 2.5), (1.2345, 1.2345)])
def test_factors_that_were_chosen(measured: float, factor: float) -> None:
    assert nice(measured) == factor


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"), ('a "b"', '"a \\"b\\""'), (DATE, "2026-11-30"), ({"a b": 1}, '{ "a b" = 1 }'), ([1.5], "[1.5]"),
    ],
)  # fmt: skip
def test_values_as_toml(value: object, text: str) -> None:
    assert shown(value) == text


def test_nothing_observed_is_an_error() -> None:
    with pytest.raises(LearnError, match="measure first"):
        gather([])


def test_a_setting_observed_twice_is_an_error() -> None:
    with pytest.raises(LearnError, match="observed twice"):
        gather([seen(1, 1.0), seen(1, 1.0)])


def test_words_of_two_lengths_are_an_error() -> None:
    with pytest.raises(LearnError, match="words of"):
        gather([seen(1, 1.0), seen(1, 1.0, fine=1, bits=9)])


def test_too_few_gains_explain_nothing() -> None:
    with pytest.raises(LearnError, match="5 settings have a gain"):
        explain(linear()[:5])


def test_a_fine_position_that_moves_nothing_leaves_no_law() -> None:
    found = explain([seen(7, 5.0 + k, coarse=k, fine=0) for k in range(8)])
    assert found.law is None
    assert np.isnan(found.gains_codes_per_v()).all()
    with pytest.raises(LearnError, match="no law explains"):
        stage_parts(found, codes_per_v=1.0, frequency_hz=1.0)


def test_a_fine_gain_that_is_arithmetic_alone_is_told_to_be() -> None:
    observed = [seen(40 + c, 10.0**c * 1.03**k, coarse=c, fine=k) for c in (0, 1) for k in range(12)]
    found = explain(observed)
    with pytest.raises(LearnError, match=r"moves no bit of any word, and 22 settings have gain by arithmetic"):
        stage_parts(found, codes_per_v=1.0, frequency_hz=1.0)


def test_a_table_that_turns_round_is_no_stage() -> None:
    gains = [1.0, 2.0, 3.0, 2.5, 4.0, 5.5, 6.0, 7.7, 3.1, 9.0]
    found = explain([seen(4 + k, g, coarse=c, fine=k, bits=4) for c in (0, 1) for k, g in enumerate(gains)])
    assert found.law.hypothesis.shape is Shape.TABLE
    with pytest.raises(LearnError, match="turns round"):
        stage_parts(found, codes_per_v=1.0, frequency_hz=1.0)


def test_ranges_in_the_wrong_order_make_no_device_file() -> None:
    truth = Truth(11)
    tables = settings_of(truth).model_dump(exclude_unset=True)
    tables["fine"]["count"] = 20
    tables["coarse"] = [{"name": "a"}, {"name": "b"}]
    settings = validate(SettingsFile, tables, file="x")
    swapped = [dataclasses.replace(o, setting=Setting(1, 1 - o.setting.coarse, o.setting.fine)) for o in linear()]
    found = explain(swapped)
    with pytest.raises(LearnError, match=r"no rule of the firmware.*least sensitive first"):
        find_rule(found, draft_of(found, settings, None, date=DATE, owner="x"))
