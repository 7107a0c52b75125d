"""W4 to W6 from readings beside the ladder: which of them were asked for, and what two settings make of them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.judge.waveform import NOTHING, Beside, ExactStep, Says, overdriven, see
from harness.values import Setting
from tests.judge_waveform.synthetic import Unit, record

FIRST, SECOND, THIRD, ABOVE = Setting(1, 0, 0), Setting(1, 0, 1), Setting(1, 0, 2), Setting(1, 1, 0)
UNIT = Unit(dnl_lsb=0.3)


@pytest.fixture(scope="module")
def pair():
    rng = np.random.default_rng(7)
    return see(record(UNIT, rng, gain=2e3)), see(record(UNIT, rng, gain=4e3))


def exact(lower, upper, residual_percent, u_percent=0.01):
    return ExactStep(lower=lower, upper=upper, residual_percent=residual_percent, u_percent=u_percent)


def told(beside, pair, reference=FIRST, setting=SECOND, ratio=2.0):
    return {test.name: test for test in beside.tests(reference, setting, *pair, ratio=ratio)}


def test_what_is_not_asked_for_is_said_with_its_key(pair):
    assert told(NOTHING, pair) == {}
    assert [(t.name, t.precondition_met, t.why) for t in NOTHING.not_asked()] == [
        (name, False, f"the job asks for no such readings: `{key}` in its [extra] table")
        for name, key in (("W4", "overdriven"), ("W5", "exact_steps"), ("W6", "offset_pairs"))
    ]
    asked = Beside(overdriven={}, exact=(), offsets_code={})
    assert asked.not_asked() == ()
    whys = {name: test.why for name, test in told(asked, pair).items()}
    assert whys == {
        "W4": "reference: source, bench or device permit no level beyond its full scale",
        "W5": "the two settings were not read at one level",
        "W6": "the device file does not say that the path is DC coupled: input.coupling",
    }


def test_clip_levels_of_both_settings_are_compared(pair):
    rng = np.random.default_rng(8)
    ends = {s: overdriven(record(UNIT, rng, gain=g, drive_vpk=1.2 * 2048 / g).samples)
            for s, g in ((FIRST, 2e3), (SECOND, 4e3))}  # fmt: skip
    assert told(Beside(overdriven=ends, beyond_screen=True), pair)["W4"].says is Says.HARDWARE
    assert "cropped to the screen" in told(Beside(overdriven=ends), pair)["W4"].why
    lost = Beside(overdriven={**ends, SECOND: "LinkLost: gone"}, beyond_screen=True)
    assert told(lost, pair)["W4"].why == "setting: LinkLost: gone"


def test_exact_steps_of_one_kind_add_up_and_one_that_is_off_takes_them_back(pair):
    alone = told(Beside(exact=(exact(FIRST, SECOND, 0.005),)), pair)["W5"]
    assert alone.says is Says.CANNOT_TELL
    both = Beside(exact=(exact(FIRST, SECOND, 0.005), exact(FIRST, THIRD, -0.01)))
    assert told(both, pair)["W5"].says is Says.ARITHMETIC
    # The step between the two is their difference: it has no more to say than they have.
    between = told(both, pair, SECOND, THIRD)["W5"]
    assert between.llr == pytest.approx(told(both, pair)["W5"].llr)
    assert "worst of 1 steps is -0.015 %" in between.why
    # Of another kind, or contradicted by one of its own: then it stands alone.
    for other in (exact(FIRST, ABOVE, 0.0), exact(FIRST, THIRD, 0.4)):
        mixed = told(Beside(exact=(exact(FIRST, SECOND, 0.005), other)), pair)["W5"]
        assert mixed.llr == pytest.approx(alone.llr)
    off = told(Beside(exact=(exact(FIRST, SECOND, 0.005), exact(FIRST, THIRD, 0.4))), pair, FIRST, THIRD)["W5"]
    assert off.says is Says.HARDWARE
    vague = told(Beside(exact=(exact(FIRST, SECOND, 0.005, 0.04),)), pair)["W5"]
    assert (vague.precondition_met, "allowed is 0.03 % or less" in vague.why) == (False, True)


def test_an_offset_that_moves_at_the_input_is_hardware_and_a_missing_reading_costs_its_pair(pair):
    a, b = pair
    scatter = np.array([0.01, -0.02, 0.0, 0.015, -0.01])
    # 30 codes behind the gain on both sides: half as much at the input of the more sensitive setting.
    moved = {FIRST: tuple(30.0 + scatter), SECOND: tuple(30.0 - scatter)}
    beside = Beside(offsets_code=moved, coupling="dc")
    assert told(beside, pair)["W6"].says is Says.HARDWARE
    assert told(Beside(offsets_code=moved, coupling="ac"), pair)["W6"].precondition_met is False
    # The same codes times the gains' ratio: nothing moved that rounding does not explain.
    ratio = b.gain_per_v / a.gain_per_v
    still = {FIRST: tuple(30.0 + scatter), SECOND: tuple((30.0 + scatter) * ratio + 0.3)}
    said = told(Beside(offsets_code=still, coupling="dc"), pair)["W6"]
    assert (said.precondition_met, said.llr, "no more than rounding" in said.why) == (True, 0.0, True)
    short = {FIRST: (30.0, 30.1, math.nan, 30.0, 30.1), SECOND: (30.0, math.nan, 30.0, 30.1, 30.0)}
    assert "3 and 3 offsets; allowed are 4 pairs" in told(Beside(offsets_code=short, coupling="dc"), pair)["W6"].why
