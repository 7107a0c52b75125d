"""The decision tables, row by row, and the factors of a mixed step."""

from __future__ import annotations

import math

import pytest

from harness.errors import NotFinite
from harness.judge.waveform import LLR_CAP, Says, WaveformTest, Words, combine, factorise, sort_tests
from harness.values import Realness

RATIO = 2.0


def found(name, says, *, llr=None, factor=None, met=True, power_m=1.03):
    default = {"hardware": LLR_CAP, "arithmetic": -LLR_CAP, "cannot-tell": 0.0}[says]
    return WaveformTest(
        name=name,
        llr=default if llr is None else llr,
        says=Says(says),
        precondition_met=met,
        why="saw it",
        power_m=power_m if met else None,
        factor=factor,
    )


def gaps(factor=RATIO):
    return found("W2", "arithmetic", factor=factor)


NO_GAPS = found("W2", "hardware", power_m=1.002)
STEP_FELL = found("W1", "hardware", factor=1.0)
STEP_SAME = found("W1", "arithmetic", factor=RATIO)
STEP_BETWEEN = found("W1", "cannot-tell", factor=1.4)
SCALED = found("W3", "hardware")
CONSTANT = found("W3", "arithmetic")
UNMET = found("W3", "cannot-tell", met=False)


@pytest.mark.parametrize(
    ("words", "tests", "expected", "text"),
    [
        # The table of words, counts (W1, W2, W7) and scaling (W3, W4).
        ("new-word", (NO_GAPS, SCALED), "hardware", "W2, W3 confirm it"),
        ("same-word", (gaps(), STEP_SAME, CONSTANT), "arithmetic", "no new word, and W2: saw it"),
        ("new-word", (gaps(1.4), STEP_BETWEEN, SCALED), "mixed", "a new word was latched, and W2: saw it"),
        ("new-word", (gaps(), STEP_SAME, CONSTANT), "fault", "latched but not executed"),
        ("same-word", (NO_GAPS, STEP_FELL, SCALED), "unproven", "a control path not probed"),
        ("not-captured", (gaps(), STEP_SAME), "arithmetic", "W2: saw it; W1: saw it"),
        ("not-captured", (STEP_FELL, NO_GAPS, SCALED), "hardware", "W1: saw it; W2: saw it; W3: saw it"),
        ("not-captured", (gaps(),), "unproven", "one test only: W2: saw it"),
        ("not-captured", (UNMET,), "unproven", "W3: saw it"),
        ("not-captured", (), "unproven", "no test was made"),
        # Nothing may win alone or against another.
        ("not-captured", (gaps(), STEP_SAME, SCALED), "unproven", "W3 say hardware, W2, W1 say arithmetic"),
        ("new-word", (gaps(), SCALED), "unproven", "the tests contradict"),
        ("same-word", (NO_GAPS, CONSTANT), "unproven", "the tests contradict"),
        ("new-word", (gaps(),), "unproven", "one test says arithmetic: W2: saw it"),
        ("new-word", (STEP_BETWEEN,), "unproven", "a part seems arithmetic: W1: saw it"),
        ("new-word", (NO_GAPS,), "unproven", "nothing confirms it: W2: saw it"),
        ("new-word", (), "unproven", "nothing confirms it: no test was made"),
        # Counts of codes alone could be averaging.
        ("not-captured", (STEP_FELL, NO_GAPS), "unproven", "averaging would look the same"),
        # Mixed without words: two tests that find the same factor.
        ("not-captured", (gaps(1.41), STEP_BETWEEN), "mixed", "W2: saw it; W1: saw it"),
        ("not-captured", (gaps(1.7), STEP_BETWEEN), "unproven", "not surely"),
        ("same-word", (gaps(1.41), STEP_BETWEEN), "unproven", "only part of the step is arithmetic"),
        # Words alone say that no hardware was commanded.
        ("same-word", (), "arithmetic", "no waveform confirms or contradicts it"),
        ("same-word", (UNMET,), "arithmetic", "W3: saw it"),
    ],
)
def test_decision_table(words, tests, expected, text):
    decision = combine(tests, Words(words), ratio=RATIO)
    assert decision.realness.value == expected
    assert text in decision.why
    if expected == "unproven":
        assert decision.confidence == 0.5
        assert (decision.hardware_ratio, decision.arithmetic_ratio) == (None, None)
    else:
        assert decision.confidence > 0.9


@pytest.mark.parametrize(
    ("word_ratio", "measured_ratio", "expected", "text"),
    [
        (2.0, 2.008, "hardware", "the word stands for ×2, the gain moved by ×2.008"),
        (2.0, 1.003, "fault", "not executed"),
        (2.0, 2.6, "unproven", "arithmetic beside it, or a wrong gain"),
        (1.004, 1.0, "unproven", "or a wrong gain"),
        (1.0, 1.0, "unproven", "or a wrong gain"),
    ],
)
def test_words_and_gain_alone(word_ratio, measured_ratio, expected, text):
    decision = combine((), Words.NEW_WORD, ratio=RATIO, word_ratio=word_ratio, measured_ratio=measured_ratio)
    assert decision.realness.value == expected
    assert text in decision.why


def test_one_test_of_a_mixed_step_needs_the_words():
    decided = [
        combine((STEP_BETWEEN,), Words.NEW_WORD, ratio=RATIO, word_ratio=word_ratio, measured_ratio=2.0)
        for word_ratio in (RATIO / 1.41, RATIO / 1.6)
    ]
    assert [decision.realness for decision in decided] == [Realness.MIXED, Realness.UNPROVEN]


def test_wrong_gain_withholds_the_confirmation():
    known = {"word_ratio": 2.0, "measured_ratio": 2.1}
    assert combine((STEP_FELL,), Words.NEW_WORD, ratio=RATIO, **known).realness is Realness.UNPROVEN


def test_factors_of_each_class():
    assert factorise((STEP_BETWEEN,), ratio=2.0) == (pytest.approx(2 / 1.4), 1.4)
    assert factorise((STEP_BETWEEN, gaps(1.41)), ratio=2.0)[1] == 1.41
    assert factorise((NO_GAPS, UNMET), ratio=2.0) == (None, None)
    mixed = combine((gaps(1.41), STEP_BETWEEN), Words.NEW_WORD, ratio=RATIO)
    assert mixed.hardware_ratio * mixed.arithmetic_ratio == pytest.approx(RATIO)
    hardware = combine((STEP_FELL, SCALED), Words.NEW_WORD, ratio=RATIO)
    assert (hardware.hardware_ratio, hardware.arithmetic_ratio) == (RATIO, 1.0)
    arithmetic = combine((), Words.SAME_WORD, ratio=RATIO)
    assert (arithmetic.hardware_ratio, arithmetic.arithmetic_ratio) == (1.0, RATIO)


def test_power_is_that_of_the_best_test_that_could_be_made():
    assert combine((NO_GAPS, SCALED, UNMET), Words.NEW_WORD, ratio=RATIO).power_m == 1.002
    assert combine((UNMET,), Words.NEW_WORD, ratio=RATIO).power_m is None


def test_confidence_is_that_of_the_capped_sum():
    two = combine((gaps(), STEP_SAME), Words.NOT_CAPTURED, ratio=RATIO)
    assert two.confidence == pytest.approx(1 / (1 + math.exp(-14)))
    with_words = combine((gaps(), STEP_SAME), Words.SAME_WORD, ratio=RATIO)
    assert with_words.confidence == pytest.approx(1 / (1 + math.exp(-21)))


def test_tests_are_sorted_by_what_they_say():
    evidence = sort_tests((NO_GAPS, CONSTANT, STEP_BETWEEN, UNMET, found("W5", "cannot-tell")), ratio=RATIO)
    assert [test.name for test in evidence.hardware] == ["W2"]
    assert [test.name for test in evidence.arithmetic] == ["W3"]
    assert [test.name for test in evidence.partial] == ["W1"]
    assert [test.name for test in evidence.silent] == ["W3", "W5"]


@pytest.mark.parametrize("bad", [math.nan, 0.0, -2.0, math.inf])
def test_ratios_must_be_numbers(bad):
    with pytest.raises(NotFinite, match=r"waveform decision: ratio is .*allowed is a positive finite number"):
        combine((), Words.NOT_CAPTURED, ratio=bad)
    with pytest.raises(NotFinite, match="waveform decision: ratio is"):
        combine((), Words.NEW_WORD, ratio=2.0, word_ratio=bad)
    with pytest.raises(NotFinite, match="waveform decision: ratio is"):
        factorise((), ratio=bad)
