"""The Skerry HR-4's law against numbers worked out by hand and against an exhaustive search in fractions."""

from __future__ import annotations

import sys
import time
from fractions import Fraction

import pytest

from harness.errors import UsageError
from harness.law import GainLaw
from harness.values import Setting

RATIOS = {"1:1": Fraction(1), "1:10": Fraction(1, 10), "1:100": Fraction(1, 100)}
PER_CODE = Fraction(128, 255) * Fraction(1, 2) * 2000
"""Codes/V of one code: 128 at code 255, halved by 1 kΩ on 1 kΩ, 2000 codes a volt: 501.9608."""

# By hand: wanted = 4096 / full scale; exact code = wanted / (attenuator · pre-gain · 501.9608).
#  coarse, fine, attenuator, pre-gain, code, word, codes/V        exact code
BY_HAND = [
    (0, 0, "1:100", 0, 41, 0x029, 205.80392156862746),  # 204.8 / 5.019608 = 40.8
    (0, 20, "1:100", 0, 102, 0x066, 512.0),  # 512 / 5.019608 = 102
    (1, 0, "1:100", 0, 82, 0x052, 411.6078431372549),  # 81.6
    (1, 12, "1:100", 0, 128, 0x080, 642.5098039215686),  # 640 / 5.019608 = 127.5: half-way goes up
    (2, 0, "1:100", 0, 163, 0x0A3, 818.1960784313726),  # 163.2
    (2, 12, "1:100", 0, 255, 0x0FF, 1280.0),  # 255, the last without pre-gain
    (2, 13, "1:100", 1, 67, 0x143, 1345.2549019607843),  # 267.54 is above 255: 66.885 with pre-gain
    (3, 0, "1:10", 0, 41, 0x029, 2058.0392156862745),
    (6, 0, "1:1", 0, 41, 0x029, 20580.392156862745),
    (8, 20, "1:1", 1, 102, 0x166, 204800.0),  # 50 mV at 40 % is 20 mV: 408 is above 255, 102 with pre-gain
    (9, 0, "1:1", 1, 102, 0x166, 204800.0),
    (9, 20, "1:1", 1, 255, 0x1FF, 512000.0),
]


@pytest.mark.parametrize(("coarse", "fine", "attenuator", "pregain", "code", "word", "gain_codes_per_v"), BY_HAND)
def test_settings_worked_out_by_hand(
    law: GainLaw, coarse: int, fine: int, attenuator: str, pregain: int, code: int, word: int, gain_codes_per_v: float
) -> None:
    prediction = law.predict(Setting(3, coarse, fine))
    assert prediction.state.controls == (("attenuator", attenuator), ("pregain", pregain), ("code", code))
    assert (prediction.state.word.latch, prediction.state.word.bits, prediction.state.word.value) == (
        "latch-3",
        9,
        word,
    )
    assert prediction.gain_codes_per_v == pytest.approx(gain_codes_per_v, rel=1e-12)  # a product of five floats


def test_every_setting_against_an_exhaustive_search_in_fractions(law: GainLaw, hr4: dict) -> None:
    for coarse, entry in enumerate(hr4["coarse"]):
        for fine in range(21):
            full_scale_vpp = Fraction(str(entry["full_scale_vpp"])) * (100 - 3 * fine) / 100
            wanted = 4096 / (full_scale_vpp * Fraction(entry.get("arithmetic_ratio", 1)))
            base = RATIOS[entry["controls"]["attenuator"]] * PER_CODE
            pregain = 0 if wanted < base * Fraction(511, 2) else 1  # 255.5 would round to 256
            code = min(range(1, 256), key=lambda c: (abs(c * base * 4**pregain - wanted), -c))
            state = law.predict(Setting(1, coarse, fine)).state
            assert (state.control("pregain"), state.control("code")) == (pregain, code), (entry["name"], fine)


def test_codes_from_41_to_255_and_half_a_code_of_error_at_most(law: GainLaw) -> None:
    predictions = law.predictions()
    codes = {int(p.state.control("code")) for p in predictions}
    assert (min(codes), max(codes)) == (41, 255)
    for p in predictions:
        error_ratio = p.gain_codes_per_v * p.full_scale_vpp / 4096.0 - 1.0
        assert abs(error_ratio) <= 0.5 / (int(p.state.control("code")) - 0.5) + 1e-12


def test_gain_rises_with_every_fine_step(law: GainLaw) -> None:
    for coarse in range(11):
        gains = [law.predict(Setting(1, coarse, fine)).gain_codes_per_v for fine in range(21)]
        assert gains == sorted(set(gains))


def test_the_10mv_range_is_the_20mv_hardware_and_twice_the_gain(law: GainLaw) -> None:
    for fine in range(21):
        hardware, doubled = law.predict(Setting(2, 9, fine)), law.predict(Setting(2, 10, fine))
        assert doubled.state.word == hardware.state.word
        assert doubled.state.controls == hardware.state.controls
        assert (hardware.state.arithmetic_ratio, doubled.state.arithmetic_ratio) == (1.0, 2.0)
        assert doubled.gain_codes_per_v == 2.0 * hardware.gain_codes_per_v
        assert doubled.full_scale_vpp == pytest.approx(hardware.full_scale_vpp / 2.0)


def test_labels_scales_and_names(law: GainLaw) -> None:
    prediction = law.predict(Setting(2, 8, 10))
    assert prediction.label == "ch2 50mV 70 %"
    assert prediction.full_scale_vpp == pytest.approx(0.035)
    assert law.coarse_names[8] == "50mV"
    assert law.fine_names[10] == "70 %"
    assert law.span_codes == 4096
    assert law.code_control == "code"


def test_all_924_settings_in_order(law: GainLaw) -> None:
    settings = law.settings()
    assert len(settings) == 924
    assert list(settings) == sorted(settings)
    assert tuple(p.setting for p in law.predictions()) == settings
    assert tuple(p.setting for p in law.predictions([3, 1])) == tuple(s for s in settings if s.channel in (1, 3))


def test_924_predictions_in_less_than_30_ms(law: GainLaw) -> None:
    if sys.gettrace() is not None:
        pytest.skip("a tracer, such as that of a coverage run, takes longer than the work")

    def once_s() -> float:
        start_s = time.perf_counter()
        law.predictions()
        return time.perf_counter() - start_s

    assert min(once_s() for _ in range(10)) < 0.030


def test_relays_of_each_position(law: GainLaw) -> None:
    relays = {p: law.relays_of({"attenuator": p, "pregain": 0, "code": 1}) for p in ("1:1", "1:10", "1:100")}
    assert relays == {"1:1": frozenset(), "1:10": frozenset({"K1"}), "1:100": frozenset({"K2"})}


def test_gain_of_any_controls_legal_or_not(law: GainLaw) -> None:
    at = {"attenuator": "1:1", "pregain": 1}
    assert law.gain_of({**at, "code": 255}) == pytest.approx(4 * 128 * 0.5 * 2000)
    assert law.gain_of({**at, "code": 0}) == 0.0
    stuck = law.gain_of({**at, "code": 102 & ~0x20}) / law.gain_of({**at, "code": 102})
    assert stuck == pytest.approx(1 - 32 / 102)


def test_words_both_ways(law: GainLaw) -> None:
    word = law.word_of(4, {"pregain": 1, "code": 0x66, "attenuator": "1:1"})
    assert str(word) == "latch-4:166"
    assert law.controls_of_word(word.value) == {"pregain": 1, "code": 0x66}
    assert all(law.word_of(1, law.controls_of_word(value)).value == value for value in range(512))


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        (Setting(0, 0, 0), "channel is 0; allowed is 1 to 4"),
        (Setting(5, 0, 0), "channel is 5; allowed is 1 to 4"),
        (Setting(1, 11, 0), "coarse is 11; allowed is 0 to 10"),
        (Setting(1, 0, -1), "fine is -1; allowed is 0 to 20"),
    ],
)
def test_a_setting_the_device_does_not_have(law: GainLaw, setting: Setting, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        law.predict(setting)


@pytest.mark.parametrize(
    ("controls", "words"),
    [
        ({"attenuator": "1:1", "pregain": 0}, "control code: got None; allowed is a whole number"),
        ({"attenuator": "1:1", "pregain": 0, "code": "7"}, "control code: got '7'; allowed is a whole number"),
        ({"attenuator": "1:1", "pregain": 2, "code": 7}, "control pregain: got 2; allowed is 0 to 1"),
        (
            {"attenuator": "1:5", "pregain": 0, "code": 7},
            "control attenuator: got '1:5'; allowed is one of '1:1', '1:10'",
        ),
        ({"pregain": 0, "code": 7}, "control attenuator: got None"),
    ],
)
def test_controls_that_no_stage_can_take(law: GainLaw, controls: dict[str, str | int], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        law.gain_of(controls)


def test_a_device_without_a_bus_has_gains_but_no_words(hr4: dict, make_law) -> None:
    del hr4["bus"]
    law = make_law(hr4)
    prediction = law.predict(Setting(1, 0, 0))
    assert prediction.gain_codes_per_v == pytest.approx(205.80392156862746)
    assert prediction.state.word.bits == 0
    with pytest.raises(UsageError, match=r"the device file has no \[bus\]; add one"):
        law.controls_of_word(0x29)


def test_fine_positions_that_are_no_whole_percent(hr4: dict, make_law) -> None:
    hr4["fine"] = {"first_percent": 100.0, "last_percent": 90.0, "count": 4}
    del hr4["quiet_noise"]
    assert make_law(hr4).fine_names == ("100 %", "96.6667 %", "93.3333 %", "90 %")
