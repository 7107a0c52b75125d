"""A device file written from a plain description, and its predictions by hand.

The description, as a colleague would give it:

    "Our two-channel strain conditioner has a relay in front: straight through, or a divider of 1 to 20 made of
    1 % parts. Then an amplifier with gains 1, 4 and 16, switched in the ground leg of a 24 kilohm feedback
    resistor; the switch has 40 ohm. Then a 10-bit multiplying converter in the feedback of the output
    amplifier, gain 1024 over code, never below code 64, which drives the converter's 3 kilohm input through 150
    ohm. The converter has 14 bits, +-8192 codes, 1000 codes a volt, and a programmable reference that doubles
    its gain. Five ranges: 160 V, 32 V, 8 V, 2 V and 1 V full scale peak to peak; the 1 V range is the 2 V range
    with the reference halved. In each range eight fine positions, from 0 to 10.5 dB in steps of 1.5 dB. One
    16-bit word a channel, least significant bit of each field first: 10 bits of code, 2 bits amplifier (1 is 0,
    4 is 2, 16 is 3), 3 spare zeros, then the bit that drives the relay's coil: on is straight through. Between
    the words of both channels an offset converter of 8 bits is always written too. Firmware truncates: it never
    gives more gain than asked for."
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.config import DeviceFile, parse
from harness.law import GainLaw, build, design_matrix
from harness.values import Setting

TOML = """
kind = "device"
version = 1
name = "strain conditioner"
channels = 2
change = [{ version = 1, date = 2026-11-25, owner = "a colleague", reason = "as described" }]
input = { impedance_ohm = 1.0e6, limit = [{ impedance_ohm = 1.0e6, max_vpk = 100.0 }] }
converter = { bits = 14, low_code = -8192, high_code = 8191, codes_per_v = 1000.0 }
acquisition = { sample_rate_hz = 100.0e3, samples = 2000, cycles = 21 }
fine = { first_db = 0.0, last_db = 10.5, count = 8 }
settle = { coarse_s = 0.01, fine_s = 0.001 }

[[coarse]]
name = "160V"
full_scale_vpp = 160.0
controls = { input = "1:20", section = "1", reference = "full" }

[[coarse]]
name = "32V"
full_scale_vpp = 32.0
controls = { input = "1:20", section = "4", reference = "full" }

[[coarse]]
name = "8V"
full_scale_vpp = 8.0
controls = { input = "1:1", section = "1", reference = "full" }

[[coarse]]
name = "2V"
full_scale_vpp = 2.0
controls = { input = "1:1", section = "4", reference = "full" }

[[coarse]]
name = "1V"
full_scale_vpp = 1.0
controls = { input = "1:1", section = "4", reference = "half" }

[[stage]]
name = "divider"
kind = "relay-attenuator"
control = "input"
ratios = { "1:1" = 1.0, "1:20" = 0.05 }
relays = { "1:1" = ["K1"], "1:20" = [] }
tolerance = { "1:20" = 1.9 }                   # (1 - 1/20) · 2 · 1 %

[[stage]]
name = "amplifier"
kind = "switched-gain"
control = "section"
gains = { "1" = 1.0, "4" = 4.0, "16" = 16.0 }
feedback_ohm = 24.0e3
on_ohm = 40.0
bits = 2
words = { "1" = 0, "4" = 2, "16" = 3 }
tolerance = { on_ohm = 50.0 }

[[stage]]
name = "output amplifier"
kind = "mdac-feedback"
control = "code"
bits = 10
lowest_code = 64
tolerance = { inl_lsb = 0.5 }

[[stage]]
name = "drive"
kind = "loading"
source_ohm = 150.0
load_ohm = 3000.0

[[stage]]
name = "converter reference"
kind = "converter-gain"
control = "reference"
gains = { full = 1.0, half = 2.0 }

[firmware]
rule = "floor"
code = "code"

[bus]
lines = ["data", "clock", "latch-a", "latch-b", "latch-offset"]
data = "data"
clock = "clock"
first_bit = "least-significant"
words_per_change = 3
layout = [{ control = "code", bits = 10 }, { control = "section", bits = 2 }, { fill = 0, bits = 3 }, { relay = "K1" }]
on_bus = [
    { latch = "latch-a", bits = 16, channel = 1 },
    { latch = "latch-b", bits = 16, channel = 2 },
    { latch = "latch-offset", bits = 8 },
]
"""

LOADING = 3000.0 / 3150.0
X4 = 1.0 + 24e3 / (24e3 / 3.0 + 40.0)  # 3.98507: the switch takes 0.37 %


@pytest.fixture
def law() -> GainLaw:
    return build(parse(DeviceFile, TOML, file="conditioner.toml"), file="conditioner.toml")


def test_the_first_setting_by_hand(law: GainLaw) -> None:
    # wanted 16384/160 = 102.4 codes/V; without the code 50 · 0.952381 = 47.619; 1024/c = 2.1504: c = 476.19
    prediction = law.predict(Setting(1, 0, 0))
    assert prediction.state.control("code") == 477  # truncated: a higher code is less gain
    assert prediction.gain_codes_per_v == pytest.approx(0.05 * 1024.0 / 477.0 * LOADING * 1000.0)
    assert prediction.gain_codes_per_v < 102.4
    assert prediction.label == "ch1 160V +0 dB"


@pytest.mark.parametrize(
    ("coarse", "fine", "without_code", "relay"),
    [
        (1, 0, 0.05 * X4 * LOADING * 1000.0, 0),
        (2, 3, LOADING * 1000.0, 1),
        (3, 7, X4 * LOADING * 1000.0, 1),
        (4, 7, X4 * LOADING * 2000.0, 1),
    ],
)
def test_code_gain_and_word_by_hand(law: GainLaw, coarse: int, fine: int, without_code: float, relay: int) -> None:
    scale_vpp = [160.0, 32.0, 8.0, 2.0, 1.0][coarse] * 10.0 ** (-1.5 * fine / 20.0)
    code = math.ceil(round(1024.0 * without_code * scale_vpp / 16384.0, 9))
    prediction = law.predict(Setting(2, coarse, fine))
    assert prediction.state.control("code") == code
    assert prediction.gain_codes_per_v == pytest.approx(without_code * 1024.0 / code)
    section = {0: "00", 1: "01", 2: "00", 3: "01", 4: "01"}[coarse]  # 2 with its least significant bit first
    wire = f"{code:010b}"[::-1] + section + "000" + str(relay)
    assert prediction.state.word.value == int(wire, 2)
    assert prediction.state.word.latch == "latch-b"
    assert law.controls_of_word(prediction.state.word.value)["input"] == ("1:1" if relay else "1:20")


def test_the_1_v_range_is_the_2_v_range_with_the_reference_halved(law: GainLaw) -> None:
    for fine in range(8):
        two, one = law.predict(Setting(1, 3, fine)), law.predict(Setting(1, 4, fine))
        assert one.state.word == two.state.word
        assert one.gain_codes_per_v == pytest.approx(2.0 * two.gain_codes_per_v)
        assert one.state.arithmetic_ratio == 1.0  # gain of the hardware, though no word shows it


def test_tolerances_by_hand(law: GainLaw) -> None:
    many = law.predict_many(law.index([Setting(1, 1, 0), Setting(1, 2, 0)]))
    codes = [int(law.predict(Setting(1, coarse, 0)).state.control("code")) for coarse in (1, 2)]
    switch = 50.0 * (X4 - 1.0) / X4 * 40.0 / 8040.0
    assert many.common_percent == 0.0
    assert many.independent_percent[0] == pytest.approx(math.sqrt(1.9**2 + switch**2 + (50.0 / codes[0]) ** 2))
    assert many.independent_percent[1] == pytest.approx(50.0 / codes[1])


def test_every_gain_is_below_the_wanted_one_by_less_than_a_code(law: GainLaw) -> None:
    for prediction in law.predictions([1]):
        share = prediction.gain_codes_per_v * prediction.full_scale_vpp / 16384.0
        assert 1.0 - 1.0 / int(prediction.state.control("code")) < share <= 1.0 + 1e-12


def test_what_a_fit_could_tell(law: GainLaw) -> None:
    design = design_matrix(law, [setting for setting in law.settings() if setting.channel == 1])
    assert design.names == ("ln K", "input 1:20", "section 4", "reference half")
    assert np.linalg.matrix_rank(design.matrix) == 4


