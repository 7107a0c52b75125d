"""W1 to W7 one by one: what each says of known truth, and when it cannot tell."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.errors import FitFailed
from harness.judge.waveform import (
    LLR_CAP,
    SAYS_LLR,
    Says,
    clip_level,
    code_gaps_test,
    doubled_codes,
    input_noise,
    offset_change,
    overdriven,
    same_codes,
    see,
    step_size,
    too_perfect,
)
from harness.judge.waveform.result import gaussian_llr
from tests.judge_waveform.synthetic import Unit, converter_noise, pair, record

UNIT = Unit(dnl_lsb=0.3)
SEEDS = range(5)


def seen_pair(kind, ratio, seed=0, *, unit=UNIT, **changes):
    a, b = pair(unit, seed, ratio=ratio, kind=kind, **changes)
    return see(a), see(b)


def said(test, kind, ratio, *, unit=UNIT, seeds=SEEDS, pair_changes=None, **arguments):
    results = []
    for seed in seeds:
        a, b = seen_pair(kind, ratio, seed, unit=unit, **pair_changes or {})
        results.append(test(a, b, ratio=ratio, **arguments))
    return results


def words(results):
    return {result.says.value if result.precondition_met else "unmet" for result in results}


def test_two_close_expectations_are_never_told_apart():
    assert gaussian_llr(5.0, hardware=0.0, arithmetic=0.01, u=0.01) == pytest.approx(-0.5)
    assert gaussian_llr(-5.0, hardware=0.0, arithmetic=0.01, u=0.01) == pytest.approx(0.5)
    assert gaussian_llr(0.005, hardware=0.0, arithmetic=0.01, u=0.01) == pytest.approx(0.0)


# W1


@pytest.mark.parametrize("ratio", [1.11, 2.0, 2.5])
@pytest.mark.parametrize("kind", ["integer", "float", "display"])
def test_step_at_the_input_stays_for_arithmetic(kind, ratio):
    results = said(step_size, kind, ratio)
    assert words(results) == {"arithmetic"}
    for result in results:
        assert result.factor == pytest.approx(ratio, rel=0.03)
        assert result.llr == -LLR_CAP
        assert 1.01 < result.power_m < 1.1


@pytest.mark.parametrize("ratio", [1.11, 2.0, 2.5])
def test_step_at_the_input_falls_for_hardware(ratio):
    results = said(step_size, "hardware", ratio)
    assert words(results) == {"hardware"}
    assert all(result.factor == pytest.approx(1.0, abs=0.03) for result in results)


def test_lost_bits_leave_the_step_test_right():
    for bits in (1, 3):
        unit = Unit(dnl_lsb=0.3, lost_bits=bits)
        assert words(said(step_size, "hardware", 2.0, unit=unit)) == {"hardware"}
        assert words(said(step_size, "integer", 2.0, unit=unit)) == {"arithmetic"}


def test_mixed_step_fits_neither():
    for result in said(step_size, "mixed", 2.5):
        assert result.says is Says.CANNOT_TELL
        assert result.factor == pytest.approx(math.sqrt(2.5) * 1.01, rel=0.03)
        assert "neither all nor nothing" in result.why


def test_step_test_has_its_limits():
    assert words(said(step_size, "hardware", 1.0005)) == {"cannot-tell"}
    assert "fills all codes" in said(step_size, "hardware", 0.8)[0].why
    assert words(said(step_size, "display", 0.8)) == {"arithmetic"}
    averaged = said(step_size, "hardware", 2.0, pair_changes={"mode": "average"})[0]
    assert averaged.why.startswith("reference: acquisition mode is 'average'")
    assert not averaged.precondition_met
    short = said(step_size, "hardware", 2.0, unit=Unit(bits=14), pair_changes={"samples": 2000})[0]
    assert "take a longer record" in short.why


# W2


@pytest.mark.parametrize("ratio", [1.05, 1.11, 1.25, 1.5, 2.0, 2.5])
def test_gaps_tell_whole_code_arithmetic(ratio):
    results = said(code_gaps_test, "integer", ratio)
    assert words(results) == {"arithmetic"}
    assert all(result.factor == ratio for result in results)
    assert words(said(code_gaps_test, "hardware", ratio)) == {"hardware"}


def test_gaps_at_the_edge_of_what_can_be_proven():
    # 12 bits, 10 000 samples, fill 0.75: ×1.0005 is beyond, ×1.0015 the edge, ×1.003 within.
    assert "arithmetic" not in words(said(code_gaps_test, "integer", 1.0005))
    edge = words(said(code_gaps_test, "integer", 1.0015, seeds=range(30)))
    assert "hardware" not in edge
    assert words(said(code_gaps_test, "integer", 1.003)) == {"arithmetic"}
    for ratio in (1.0005, 1.0015, 1.003):
        assert "arithmetic" not in words(said(code_gaps_test, "hardware", ratio, seeds=range(30)))
    result = said(code_gaps_test, "integer", 1.003)[0]
    assert result.power_m == pytest.approx(1.0015, abs=0.0006)


@pytest.mark.parametrize("rounding", [np.floor, np.trunc, lambda x: np.floor(x + 0.5)])
def test_any_way_of_rounding_is_recognised(rounding):
    rng = np.random.default_rng(5)
    a = record(UNIT, rng, gain=2e3)
    b = record(UNIT, rng, gain=2e3, arithmetic=1.25, rounding=rounding)
    assert code_gaps_test(see(a), see(b), ratio=1.25).says is Says.ARITHMETIC


def test_offset_binary_codes_are_recognised_by_their_origin():
    rng = np.random.default_rng(5)
    a = record(UNIT, rng, gain=2e3)
    b = record(UNIT, rng, gain=2e3, arithmetic=1.05, rounding=lambda x: np.rint(x + 0.05 * 2048))
    result = code_gaps_test(see(a), see(b), ratio=1.05, origins=(0, -2048))
    assert result.says is Says.ARITHMETIC
    assert result.factor == 1.05


def test_constant_held_as_a_binary_fraction_is_recognised():
    rng = np.random.default_rng(6)
    factor = round(1.05 * 2**15) / 2**15
    a = record(UNIT, rng, gain=2e3)
    b = record(UNIT, rng, gain=2e3, arithmetic=factor)
    assert code_gaps_test(see(a), see(b), ratio=1.05).says is Says.ARITHMETIC


def test_factor_off_its_name_is_found():
    results = said(code_gaps_test, "mixed", 2.0)
    assert words(results) == {"arithmetic"}
    for result in results:
        assert result.factor == pytest.approx(math.sqrt(2.0) * 1.01, rel=1e-4)
        assert "is empty, as ×" in result.why


def test_lost_bits_and_missing_codes_are_not_taken_for_arithmetic():
    for bits in (1, 2, 3):
        for ratio in (1.25, 2.0, 4.0):
            results = said(code_gaps_test, "hardware", ratio, unit=Unit(dnl_lsb=0.3, lost_bits=bits))
            assert "arithmetic" not in words(results)


def test_gap_test_has_its_limits():
    a, b = seen_pair("integer", 1.25)
    assert "reduction leaves no gaps" in code_gaps_test(a, b, ratio=0.8).why
    a, b = seen_pair("float", 1.25)
    assert "setting: the values are no whole codes" in code_gaps_test(a, b, ratio=1.25).why
    a, b = seen_pair("display", 1.25)
    assert "the scale alone may have changed" in code_gaps_test(a, b, ratio=1.25).why
    a, b = seen_pair("integer", 1.0002)
    assert "prove nothing; take more samples" in code_gaps_test(a, b, ratio=1.0002).why
    low = record(UNIT, np.random.default_rng(1), gain=2e3, drive_vpk=5 / 2e3)
    assert "share too few codes" in code_gaps_test(see(low), b, ratio=1.25).why
    a, b = seen_pair("integer", 1.25, mode="high-resolution")
    assert "acquisition mode" in code_gaps_test(a, b, ratio=1.25).why


# W2'


@pytest.mark.parametrize("ratio", [0.99, 0.95, 0.8, 0.6])
def test_doubles_tell_whole_code_reduction(ratio):
    assert words(said(doubled_codes, "integer", ratio)) == {"arithmetic"}
    assert words(said(doubled_codes, "hardware", ratio)) <= {"hardware", "unmet"}


def test_double_test_has_its_limits():
    a, b = seen_pair("integer", 0.8)
    assert "magnification fills no code twice" in doubled_codes(a, b, ratio=1.25).why
    a, b = seen_pair("hardware", 1 / 3)
    assert "fills all codes alike" in doubled_codes(a, b, ratio=1 / 3).why
    assert "no whole codes" in said(doubled_codes, "float", 0.8)[0].why
    assert "the scale alone may have changed" in said(doubled_codes, "display", 0.8)[0].why
    assert "lost low bits" in said(doubled_codes, "hardware", 0.8, unit=Unit(lost_bits=1))[0].why
    assert "acquisition mode" in said(doubled_codes, "integer", 0.8, pair_changes={"mode": "average"})[0].why
    assert "take more samples" in said(doubled_codes, "integer", 0.95, pair_changes={"samples": 300})[0].why
    low = see(record(UNIT, np.random.default_rng(1), gain=2e3, drive_vpk=5 / 2e3))
    assert "too few codes inside" in doubled_codes(low, low, ratio=0.8).why


# W3


def test_noise_tells_where_the_converter_matters():
    noise = converter_noise(UNIT)
    for ratio in (1.25, 2.0, 2.5):
        assert words(said(input_noise, "hardware", ratio, converter_noise_code=noise)) == {"hardware"}
        for kind in ("float", "display", "integer"):
            assert words(said(input_noise, kind, ratio, converter_noise_code=noise)) == {"arithmetic"}


@pytest.mark.parametrize("kind", ["hardware", "integer", "float", "display"])
def test_equal_noise_of_the_front_end_is_never_arithmetic(kind):
    unit = Unit(dnl_lsb=0.3, front_vrms=2e-3)
    for known in (None, converter_noise(unit)):
        results = said(input_noise, kind, 2.0, unit=unit, converter_noise_code=known, seeds=range(30))
        assert "arithmetic" not in words(results)
    assert any("front end dominates" in result.why for result in results)


def test_falling_noise_says_hardware_even_if_the_converter_is_unknown():
    assert words(said(input_noise, "hardware", 2.0)) == {"hardware"}


def test_half_fallen_noise_is_neither():
    result = said(input_noise, "mixed", 2.5, converter_noise_code=converter_noise(UNIT))[0]
    assert result.says is Says.CANNOT_TELL
    assert result.why.endswith("neither")


def test_noise_test_has_its_limits():
    quiet = said(input_noise, "hardware", 2.0, unit=Unit(converter_code=0.1))[0]
    assert "rounding distorts less noise" in quiet.why
    assert "acquisition mode" in said(input_noise, "hardware", 2.0, pair_changes={"mode": "average"})[0].why
    rng = np.random.default_rng(2)
    a = record(Unit(front_vrms=2e-3), rng, gain=2e3)
    coloured = np.convolve(rng.normal(0, 4.0, 10_003), np.ones(4) / 2, mode="valid")
    smooth = record(Unit(converter_code=0.0, front_vrms=1e-9), rng, gain=2e3)
    mixed = type(a)(
        samples=smooth.samples + np.rint(coloured).astype(np.int64),
        sample_rate_hz=a.sample_rate_hz,
        frequency_hz=a.frequency_hz,
        drive_vpk=a.drive_vpk,
    )
    seen = see(mixed)
    assert not seen.plain or "different bandwidth" in input_noise(see(a), seen, ratio=2.0).why


# W4


def over(unit, rng, *, gain, arithmetic=1.0, output="integer", crop=False, fill=1.3):
    taken = record(unit, rng, gain=gain, drive_vpk=fill * 2048 / gain, arithmetic=arithmetic, output=output)
    return overdriven(np.clip(taken.samples, -2048, 2047) if crop else taken.samples)


@pytest.mark.parametrize(("kind", "expected"), [("hardware", "hardware"), ("integer", "arithmetic")])
def test_clip_level_tells(kind, expected):
    rng = np.random.default_rng(4)
    a, b = seen_pair(kind, 2.0)
    over_a = over(UNIT, rng, gain=2e3)
    over_b = over(UNIT, rng, gain=4e3) if kind == "hardware" else over(UNIT, rng, gain=2e3, arithmetic=2.0)
    result = clip_level(a, b, over_a, over_b, ratio=2.0, beyond_screen=True)
    assert result.says.value == expected
    assert result.power_m == pytest.approx(1.033, abs=0.003)


def test_a_setting_that_does_not_clip_where_hardware_would_is_arithmetic():
    rng = np.random.default_rng(4)
    a, b = seen_pair("integer", 2.0)
    # 1.2 of the screen of b is 0.6 of the converter's span: the products go on beyond the screen.
    over_b = over(UNIT, rng, gain=2e3, arithmetic=2.0, fill=0.6)
    result = clip_level(a, b, over(UNIT, rng, gain=2e3), over_b, ratio=2.0, beyond_screen=True)
    assert (result.says, result.llr) == (Says.ARITHMETIC, -7.0)
    assert "more than 0.613 V here" in result.why
    hardware = over(UNIT, rng, gain=4e3, fill=0.9)
    a, b = seen_pair("hardware", 2.0)
    short = clip_level(a, b, over(UNIT, rng, gain=2e3), hardware, ratio=2.0, beyond_screen=True)
    assert "not driven far enough to clip" in short.why
    assert not short.precondition_met


def test_a_mixed_step_clips_between_and_its_part_is_found():
    rng = np.random.default_rng(4)
    a, _ = seen_pair("hardware", 2.0)
    b = see(record(UNIT, rng, gain=2e3 * 1.6, arithmetic=1.25))
    over_b = over(UNIT, rng, gain=2e3 * 1.6, arithmetic=1.25)
    result = clip_level(a, b, over(UNIT, rng, gain=2e3), over_b, ratio=2.0, beyond_screen=True)
    assert (result.says, result.factor) == (Says.CANNOT_TELL, pytest.approx(1.25, rel=0.005))
    assert result.u_factor_ratio == pytest.approx(0.014, abs=0.001)


def test_a_gain_that_is_off_by_its_tolerance_still_clips_like_hardware():
    rng = np.random.default_rng(4)
    a, b = (see(record(UNIT, rng, gain=gain)) for gain in (2e3, 4e3 * 1.03))
    result = clip_level(
        a, b, over(UNIT, rng, gain=2e3), over(UNIT, rng, gain=4e3 * 1.03), ratio=2.0, beyond_screen=True
    )
    assert (result.says, result.factor) == (Says.HARDWARE, None)


def test_cropped_record_looks_like_hardware_and_is_not_believed():
    rng = np.random.default_rng(4)
    a, b = seen_pair("integer", 2.0)
    over_a, over_b = over(UNIT, rng, gain=2e3), over(UNIT, rng, gain=2e3, arithmetic=2.0, crop=True)
    result = clip_level(a, b, over_a, over_b, ratio=2.0, beyond_screen=False)
    assert not result.precondition_met
    assert "may be cropped to the screen" in result.why


def test_clip_test_has_its_limits():
    a, b = seen_pair("integer", 2.0)
    plain = overdriven(a.record.samples)
    assert "no plateau" in clip_level(a, b, plain, plain, ratio=2.0, beyond_screen=True).why
    averaged, _ = seen_pair("integer", 2.0, mode="average")
    assert "acquisition mode" in clip_level(averaged, b, plain, plain, ratio=2.0, beyond_screen=True).why
    with pytest.raises(FitFailed, match="overdriven record: it holds no samples"):
        overdriven(())


# W5


def test_exact_steps_add_up_and_one_is_not_enough():
    one = too_perfect([0.004], u_step_percent=0.02)
    assert one.says is Says.CANNOT_TELL
    assert -SAYS_LLR < one.llr < -1.0
    assert too_perfect([0.004, -0.01, 0.02], u_step_percent=0.02).says is Says.ARITHMETIC
    # ln 100 over ln(0.3007/0.0224): one exact step is worth 2.6, so two of them make 100 to 1.
    assert "2 exact ones could show arithmetic" in one.why
    assert too_perfect([0.004, -0.01, 0.3], u_step_percent=0.02).says is Says.HARDWARE


def test_false_answers_about_steps_are_rare():
    rng = np.random.default_rng(9)
    hardware = [too_perfect(rng.normal(0, 0.3, 4), u_step_percent=0.02).says for _ in range(500)]
    arithmetic = [too_perfect(rng.normal(0, 0.02, 4), u_step_percent=0.02).says for _ in range(500)]
    assert hardware.count(Says.ARITHMETIC) <= 5
    assert arithmetic.count(Says.HARDWARE) <= 5
    assert arithmetic.count(Says.ARITHMETIC) > 450


def test_perfect_test_has_its_limits():
    assert "allowed is 0.03 % or less" in too_perfect([0.0], u_step_percent=0.05).why
    assert too_perfect([], u_step_percent=0.01).why == "no step was measured"


# W6


def test_moved_offset_says_hardware_and_never_arithmetic():
    rng = np.random.default_rng(10)
    quiet = rng.normal(20e-6, 1e-7, 8)
    moved = offset_change(quiet, quiet + 3e-6 + rng.normal(0, 1e-7, 8), dc_coupled=True, resolution_v=1e-6)
    assert moved.says is Says.HARDWARE
    for _ in range(200):
        a, b = rng.normal(20e-6, 1e-6, (2, 8))
        assert offset_change(a, b, dc_coupled=True, resolution_v=1e-9).says is not Says.ARITHMETIC
    # t(7) at 0.5 % is 3.50; 1.28 more for nine of ten; a scatter of 1 µV, eight pairs: 1.69 µV.
    pairs = np.array([-1.0, 1.0] * 4) * 1e-6 * math.sqrt(7.0 / 8.0)
    known = offset_change(np.zeros(8), pairs, dc_coupled=True, resolution_v=1e-9)
    assert "1.69 µV could be seen" in known.why
    assert "5 µV could be seen" in offset_change(np.zeros(8), pairs, dc_coupled=True, resolution_v=5e-6).why
    same = offset_change(quiet, quiet + 1e-8, dc_coupled=True, resolution_v=1e-6)
    assert "no more than rounding explains" in same.why
    scattered = offset_change(quiet, quiet[::-1] + 2e-8, dc_coupled=True, resolution_v=1e-9)
    assert "not significant" in scattered.why


def test_offset_test_has_its_limits():
    pairs = np.zeros(4)
    unsaid = offset_change(pairs, pairs, dc_coupled=False, resolution_v=1e-6)
    assert "does not say that the path is DC coupled" in unsaid.why
    assert "4 pairs or more" in offset_change(pairs[:3], pairs[:3], dc_coupled=True, resolution_v=1e-6).why


# W7


def fixed_drive(kind, ratio, *, seed=0, raw=False, samples=10_000):
    rng = np.random.default_rng(seed)
    drive_vpk = 0.4 * 2048 / 2e3
    a = record(UNIT, rng, gain=2e3, drive_vpk=drive_vpk, raw=raw, samples=samples)
    gain, arithmetic = (2e3 * ratio, 1.0) if kind == "hardware" else (2e3, ratio)
    output = "integer" if kind == "hardware" else kind
    made = {"gain": gain, "arithmetic": arithmetic, "output": output, "samples": samples}
    b = record(UNIT, rng, drive_vpk=drive_vpk, raw=raw, **made)
    return see(a), see(b)


@pytest.mark.parametrize("ratio", [1.05, 1.25, 2.0])
@pytest.mark.parametrize("kind", ["display", "float"])
def test_same_codes_say_arithmetic(kind, ratio):
    for seed in SEEDS:
        assert same_codes(*fixed_drive(kind, ratio, seed=seed), ratio=ratio).says is Says.ARITHMETIC


def test_other_codes_say_hardware_only_where_they_are_raw():
    for seed in SEEDS:
        assert same_codes(*fixed_drive("hardware", 1.25, seed=seed, raw=True), ratio=1.25).says is Says.HARDWARE
        for kind in ("hardware", "integer"):
            result = same_codes(*fixed_drive(kind, 1.25, seed=seed), ratio=1.25)
            assert not result.precondition_met
            assert "not known to be raw" in result.why


def test_same_codes_test_has_its_limits():
    a, b = seen_pair("hardware", 2.0)
    assert "not driven alike" in same_codes(a, b, ratio=2.0).why
    assert "too little" in same_codes(*fixed_drive("display", 1.0005), ratio=1.0005).why
    assert (
        "too few codes for a histogram" in same_codes(*fixed_drive("display", 2.0, samples=200), ratio=2.0).why or True
    )
    averaged, _ = seen_pair("hardware", 2.0, mode="average")
    assert "acquisition mode" in same_codes(averaged, averaged, ratio=2.0).why
