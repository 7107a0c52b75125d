"""Control words and what they prove: captures made bit by bit, decoded and judged."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from harness.values import Outcome, Prediction, ReadingStatus, Realness, Rung, Setting
from tests.judge.run_builder import (
    FULL,
    capture_of,
    healthy,
    judged,
    outcomes,
    reading_of,
    reasons,
    setup_at,
    word_frames,
)

PASS, FAIL, INVALID, INCONCLUSIVE = Outcome.PASS, Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE
SETUP = setup_at((2, 3, 5), ways="up")
RUNG = SETUP.rungs[0]
WORD = RUNG.prediction.state.word
BITS = f"{WORD.value:09b}"


def judge_frames(*frames: tuple[str, str], **changes: Any) -> Any:
    return judged(SETUP, [reading_of(RUNG, capture=capture_of(frames, **changes))])


SOUND = {
    "alone": [(WORD.latch, BITS)],
    "the last of two": [(WORD.latch, "111111111"), (WORD.latch, BITS)],
    "others afterwards": [(WORD.latch, BITS), ("latch-1", "000000001"), ("latch-bias", "000011110000")],
    # A neighbour whose latch is missing leaves its clocks in front of this frame: long, but the last bits count.
    "long frame behind a missing latch": [("", "101010101"), (WORD.latch, BITS)],
    "re-latch": [(WORD.latch, BITS), (WORD.latch, "")],
}


@pytest.mark.parametrize("frames", SOUND.values(), ids=SOUND.keys())
def test_the_planned_word_passes_however_it_came(frames: Any) -> None:
    result = judge_frames(*frames)
    assert outcomes(result, "word") == {RUNG.setting: "PASS"}
    assert result.settings[0].captured_words[0].startswith(str(WORD))
    assert result.settings[0].word_outcome is PASS


WRONG = {
    "one bit": ([(WORD.latch, BITS[:-1] + ("0" if BITS[-1] == "1" else "1"))], str(WORD)[:9]),
    "another channel's latch": (
        [("latch-1", BITS)], "no latch (the bus was clocked, this latch did not fire) wrong-latch latch-1",
    ),
    "others latched, this one not": (
        [("", BITS), ("latch-1", "000000001")], "no latch (the bus was clocked, this latch did not fire); planned",
    ),
    "short frame": ([("latch-1", "000000001"), (WORD.latch, BITS[:8])], "short-frame"),
    "nothing moved": ([], "no latch (no edge on any line)"),
    # The word is right: edges and latches are counted all the same. Frames here are of 9 and 12 bits.
    "broadcast": ([(f"{WORD.latch}+latch-3", BITS)], f"{WORD} broadcast (latch-3 as well)"),
    "one clock too many": ([(WORD.latch, f"0{BITS}")], f"{WORD} long-frame (1 clocks too many)"),
    "a frame too many, all others latched": (
        [
            ("latch-1", "000000001"), ("latch-3", "000000001"), ("latch-4", "000000001"),
            (WORD.latch, f"{BITS}{BITS}"),
        ],
        f"{WORD} long-frame (9 clocks too many)",
    ),
    "never latched": ([("", BITS)], "no latch (the bus was clocked, this latch did not fire)"),
}


@pytest.mark.parametrize(("frames", "said"), WRONG.values(), ids=WRONG.keys())
def test_any_other_word_fails_and_both_are_named(frames: Any, said: str) -> None:
    result = judge_frames(*frames)
    assert outcomes(result, "word") == {RUNG.setting: "FAIL"}
    reason = reasons(result, "word")[0]
    assert reason.startswith(f"ch2 2V 85 %: word {said}")
    assert reason.endswith(f"; planned {WORD}")
    assert result.verdict is FAIL
    assert outcomes(result, "gain") == {RUNG.setting: "PASS"}


UNSOUND = {
    "missing": ({"capture": None, "capture_reason": "ReadTimeout: no answer"}, "ReadTimeout: no answer"),
    "missing without a reason": ({"capture": None}, "no capture"),
    "dropped": ({"capture": capture_of(word_frames(RUNG.prediction), dropped=3)}, "the adapter dropped events"),
    "backwards": (
        {"capture": capture_of([("", "1")], times_ns=np.array([500, 400, 300], dtype=np.int64))},
        "capture: ",
    ),
}


@pytest.mark.parametrize(("changes", "said"), UNSOUND.values(), ids=UNSOUND.keys())
def test_a_capture_that_cannot_be_trusted_is_invalid_and_the_gain_is_judged(changes: Any, said: str) -> None:
    result = judged(SETUP, [reading_of(RUNG, **changes)])
    assert outcomes(result, "word") == {RUNG.setting: "INVALID"}
    assert reasons(result, "word")[0].startswith(f"ch2 2V 85 %: no word: {said}")
    assert outcomes(result, "gain") == {RUNG.setting: "PASS"}
    assert outcomes(result, "realness") == {RUNG.setting: "INCONCLUSIVE"}
    assert result.settings[0].realness is Realness.UNPROVEN
    assert result.verdict is INVALID


def test_a_failed_reading_without_a_capture_never_fails_the_unit() -> None:
    lost = reading_of(
        RUNG, status=ReadingStatus.INVALID, reason="LinkLost: gone", waveform=None, capture=None,
        capture_reason="the setting was not reached", drive_read_vpk=0.0,
    )  # fmt: skip
    result = judged(SETUP, [lost])
    assert result.verdict is INVALID
    assert FAIL not in {claim.outcome for claim in result.judgements}


def test_up_and_down_with_different_words_fail_and_are_no_hardware() -> None:
    setup = setup_at((2, 3, 5))
    up, down = setup.rungs
    result = judged(
        setup, [healthy(up), reading_of(down, capture=capture_of(word_frames(down.prediction, WORD.value ^ 1)))]
    )
    assert outcomes(result, "word") == {RUNG.setting: "FAIL"}
    assert len(result.settings[0].captured_words) == 2
    assert reasons(result, "realness") == [
        "ch2 2V 85 %: fault: the gain device latched no word, or not always the same"
    ]


def test_without_a_bus_no_word_is_claimed_and_the_waveform_alone_decides() -> None:
    setup = dataclasses.replace(
        setup_at(*((1, 3, fine) for fine in (0, 5, 10))), job=FULL.job.model_copy(update={"capture_words": False})
    )
    result = judged(
        setup, [reading_of(r, capture=None, capture_reason="the bench has no adapter") for r in setup.rungs]
    )
    assert outcomes(result, "word") == {}
    assert {row.word_outcome for row in result.settings} == {None}
    assert {row.captured_words for row in result.settings} == {()}
    assert set(outcomes(result, "realness").values()) == {"INCONCLUSIVE"}
    assert result.verdict is INCONCLUSIVE
    assert result.notes[0] == "No control words were captured: realness is decided by the waveform alone."
    # Noiseless sines: the noise at the input, which must confirm what counts of codes say, has nothing to say.
    assert {row.evidence.waveform.value for row in result.settings} == {"unproven"}


RANGE = setup_at(*((1, 3, fine) for fine in (0, 5, 10, 15, 20)))
LOWEST = RANGE.rungs[0].prediction


def same_word(rung: Rung, **changes: Any) -> Any:
    """As arithmetic makes it: the word of the lowest position, the gain of the planned one."""
    return reading_of(rung, capture=capture_of(word_frames(LOWEST)), **changes)


def test_undeclared_arithmetic_fails_every_setting_above_the_lowest() -> None:
    result = judged(RANGE, [same_word(rung) for rung in RANGE.rungs])
    assert list(outcomes(result, "word").values()) == ["PASS"] + ["FAIL"] * 4
    by_setting = {row.setting.fine: row for row in result.settings}
    assert by_setting[0].realness is Realness.HARDWARE
    for fine in (5, 10, 15, 20):
        row = by_setting[fine]
        assert row.realness is Realness.ARITHMETIC
        assert row.arithmetic_ratio == pytest.approx(row.predicted_codes_per_v / LOWEST.gain_codes_per_v, rel=1e-3)
        assert row.outcome is FAIL
    assert {step.realness for step in result.steps} == {Realness.ARITHMETIC}
    assert not any(step.word_changed for step in result.steps)
    assert any("with the same word and relays; hardware is specified" in text for text in reasons(result, "realness"))
    assert [c.fault for c in result.candidates] == ["fine-gain-arithmetic"]


def test_a_gain_that_does_not_follow_its_words_is_a_fault() -> None:
    def stuck(rung: Rung) -> Any:
        return reading_of(rung, gain_ratio=LOWEST.gain_codes_per_v / rung.prediction.gain_codes_per_v)

    result = judged(RANGE, [stuck(rung) for rung in RANGE.rungs])
    assert {step.realness for step in result.steps} == {Realness.FAULT}
    assert {step.reason.split(": ", 1)[1] for step in result.steps} >= {
        step.reason.split(": ", 1)[1] for step in result.steps if "fine-step" in step.reason
    }
    assert any("a new word was latched, the gain did not move" in text for text in reasons(result, "realness"))
    assert result.verdict is FAIL


def test_a_latch_that_never_fires_with_a_frozen_gain_is_a_fault() -> None:
    def frozen(rung: Rung) -> Any:
        ratio = LOWEST.gain_codes_per_v / rung.prediction.gain_codes_per_v
        frames = [(latch, bits) if latch != "latch-1" else ("", bits) for latch, bits in word_frames(rung.prediction)]
        return reading_of(rung, gain_ratio=ratio, capture=capture_of(frames))

    result = judged(RANGE, [frozen(rung) for rung in RANGE.rungs])
    assert set(outcomes(result, "word").values()) == {"FAIL"}
    assert {row.realness for row in result.settings} == {Realness.FAULT}
    assert {step.realness for step in result.steps} == {Realness.FAULT}
    assert [c.fault for c in result.candidates] == ["latch-missing", "clock-line-dead"]


def test_a_word_without_gain_does_not_divide_by_it() -> None:
    result = judged(RANGE, [reading_of(r, capture=capture_of(word_frames(r.prediction, 0))) for r in RANGE.rungs])
    assert set(outcomes(result, "word").values()) == {"FAIL"}
    assert {row.realness for row in result.settings} == {Realness.HARDWARE, Realness.ARITHMETIC}


ARITHMETIC = setup_at((1, 9, 20), (1, 10, 0), (1, 10, 20))


def test_declared_arithmetic_of_the_declared_factor_passes() -> None:
    result = judged(ARITHMETIC, [healthy(rung) for rung in ARITHMETIC.rungs])
    found = {row.setting: (row.realness, row.outcome, row.code_spacing) for row in result.settings}
    assert found[Setting(1, 10, 20)] == (Realness.ARITHMETIC, PASS, 2)
    assert found[Setting(1, 9, 20)] == (Realness.HARDWARE, PASS, 1)
    # Without a neighbour of the same word the comb of every second code proves the declared factor.
    assert found[Setting(1, 10, 0)] == (Realness.ARITHMETIC, PASS, 2)


def test_declared_arithmetic_of_another_factor_fails() -> None:
    readings = [
        reading_of(r, gain_ratio=0.75) if r.setting.coarse == 10 and r.setting.fine == 20 else healthy(r)
        for r in ARITHMETIC.rungs
    ]
    result = judged(ARITHMETIC, readings)
    said = [text for text in reasons(result, "realness") if "10mV 40 %: gain is arithmetic" in text]
    assert "×1.5 with the same word and relays; declared ×2" in said[0]


def test_declared_arithmetic_without_comb_or_neighbour_is_unproven() -> None:
    setup = setup_at((1, 10, 0))
    result = judged(setup, [reading_of(rung, step=1) for rung in setup.rungs])
    assert result.settings[0].realness is Realness.UNPROVEN
    assert "the ladder holds no setting with the same word" in reasons(result, "realness")[0]


@pytest.mark.parametrize("gain_ratio", [1.0, 0.5])
def test_a_step_into_a_declared_range_with_a_new_word_is_mixed_as_declared(gain_ratio: float) -> None:
    # The range of the same word is not in this ladder: 2 V to 10 mV moves relays and doubles codes. A wrong gain on one
    # side is a matter of the step's size.
    setup = setup_at((1, 3, 0), (1, 10, 0))
    readings = [reading_of(r, gain_ratio=gain_ratio) if r.setting.coarse == 3 else healthy(r) for r in setup.rungs]
    result = judged(setup, readings)
    assert [step.realness for step in result.steps] == [Realness.MIXED]
    assert [c.outcome for c in result.judgements if c.item == "realness" and c.other is not None] == [PASS]
    assert outcomes(result, "coarse-step") == {Setting(1, 10, 0): "PASS" if gain_ratio == 1.0 else "FAIL"}


def test_a_step_with_an_undeclared_comb_is_mixed_and_fails() -> None:
    setup = setup_at((1, 3, 0), (1, 4, 0))
    result = judged(setup, [reading_of(r, step=2 if r.setting.coarse == 4 else 1) for r in setup.rungs])
    assert [step.realness for step in result.steps] == [Realness.MIXED]
    assert [c.outcome for c in result.judgements if c.item == "realness" and c.other is not None] == [FAIL]


def planned(prediction: Prediction) -> int:
    return prediction.state.word.value


def test_the_builder_and_the_law_agree_on_the_words() -> None:
    # Words by hand, from the device file: pre-gain bit, then the code; 2 V at 85 % is attenuator 1:10.
    assert FULL.law.controls_of_word(planned(RUNG.prediction)) == {
        "pregain": RUNG.prediction.state.control("pregain"), "code": RUNG.prediction.state.control("code"),
    }  # fmt: skip
