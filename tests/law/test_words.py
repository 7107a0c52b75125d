"""Layouts as data: both ways for any fields, either end of a field first."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import UsageError
from harness.law import GainLaw
from harness.law.stages import Control
from harness.law.words import GainDevice, WordField, WordLayout, Words
from harness.values import Setting

CONFIGS = Path(__file__).parents[2] / "configs"
Data = dict[str, Any]
Law = Callable[[Data], GainLaw]
WIDTHS = st.lists(st.integers(1, 12), min_size=1, max_size=5)


def layout(*widths: int, least_first: bool = False) -> WordLayout:
    starts = [sum(widths[:index]) for index in range(len(widths))]
    return WordLayout(
        fields=tuple(
            WordField(
                start=start,
                bits=bits,
                least_significant_first=least_first,
                control=Control(name=f"c{index}", values=range(2**bits), bits=bits),
            )
            for index, (start, bits) in enumerate(zip(starts, widths, strict=True))
        )
    )


def words(*widths: int) -> Words:
    devices = tuple(GainDevice(latch=f"latch-{n}", channel=n, layout=layout(*widths)) for n in (1, 2))
    return Words(devices=devices, code="c1", words_per_change=None, idle_edges_per_change=None)


@given(widths=WIDTHS, least_first=st.booleans(), data=st.data())
def test_controls_to_word_and_back(widths: list[int], least_first: bool, data: st.DataObject) -> None:
    made = layout(*widths, least_first=least_first)
    controls = {f"c{i}": data.draw(st.integers(0, 2**bits - 1)) for i, bits in enumerate(widths)}
    assert made.controls_of(made.value_of(controls)) == controls


@given(widths=WIDTHS, least_first=st.booleans(), data=st.data())
def test_word_to_controls_and_back(widths: list[int], least_first: bool, data: st.DataObject) -> None:
    made = layout(*widths, least_first=least_first)
    value = data.draw(st.integers(0, 2**made.bits - 1))
    assert made.value_of(made.controls_of(value)) == value


@given(widths=WIDTHS, least_first=st.booleans(), data=st.data())
def test_against_the_bits_on_the_wire_written_out(widths: list[int], least_first: bool, data: st.DataObject) -> None:
    controls = {f"c{i}": data.draw(st.integers(0, 2**bits - 1)) for i, bits in enumerate(widths)}
    wire = ""
    for index, bits in enumerate(widths):
        ascending = [str(controls[f"c{index}"] >> k & 1) for k in range(bits)]
        wire += "".join(ascending if least_first else ascending[::-1])
    assert layout(*widths, least_first=least_first).value_of(controls) == int(wire, 2)


def test_pregain_before_an_8_bit_code() -> None:
    made = layout(1, 8)
    assert made.value_of({"c0": 1, "c1": 0x66}) == 0x166
    assert made.value_of({"c0": 0, "c1": 0x66}) == 0x066
    assert layout(1, 8, least_first=True).value_of({"c0": 1, "c1": 0b0000_0110}) == 0b1_0110_0000


def test_other_controls_are_ignored() -> None:
    assert layout(2).value_of({"c0": 3, "attenuator": "1:1"}) == 3


def test_the_latch_is_the_channel_s() -> None:
    (word,) = words(1, 8).words(2, {"c0": 0, "c1": 41}, frozenset())
    assert str(word) == "latch-2:029"


@pytest.mark.parametrize(
    ("controls", "message"),
    [
        ({"c0": 2, "c1": 0}, "control c0: got 2; allowed is 0 to 1 in 1 bits"),
        ({"c0": 0, "c1": -1}, "control c1: got -1; allowed is 0 to 255 in 8 bits"),
        ({"c0": 0}, "control c1: got None; allowed is a whole number"),
    ],
)
def test_controls_that_do_not_fit(controls: dict[str, str | int], message: str) -> None:
    with pytest.raises(UsageError, match=message):
        layout(1, 8).value_of(controls)


@pytest.mark.parametrize("value", [-1, 512])
def test_a_word_longer_than_the_layout(value: int) -> None:
    with pytest.raises(UsageError, match=f"control word {value}: allowed is 0 to 511, the word has 9 bits"):
        layout(1, 8).controls_of(value)


def test_a_channel_without_a_gain_device() -> None:
    with pytest.raises(UsageError, match="channel 3 has no gain device on the bus; allowed is one of 1, 2"):
        words(1, 8).words(3, {"c0": 0, "c1": 0}, frozenset())


# ---- layouts of device files: relays, fill, places, several devices, one latch for all


RELAYS = [{"relay": "K1"}, {"relay": "K2"}, {"fill": 2, "bits": 2}]


def two_words(data: Data) -> Data:
    """The HR-4 with its attenuator's relays behind a shift register, one for each channel."""
    data["bus"]["lines"] = ["data", "clock", "latch-1", "latch-2", "relays-1", "relays-2"]
    data["bus"]["on_bus"] = [
        member
        for channel in (1, 2)
        for member in (
            {"latch": f"relays-{channel}", "bits": 4, "channel": channel, "layout": RELAYS},
            {"latch": f"latch-{channel}", "bits": 9, "channel": channel},
        )
    ]
    data["channels"] = 2
    return data


def test_relay_drivers_behind_a_shift_register(hr4: Data, make_law: Law) -> None:
    law = make_law(two_words(hr4))
    state = law.predict(Setting(2, 3, 0)).state  # 2 V: attenuator 1:10, K1 energised
    assert str(state.word) == "latch-2:029"  # the word with the code comes first
    assert [str(word) for word in state.more] == ["relays-2:A"]  # K1 on, K2 off, fill 10
    assert law.predict(Setting(2, 0, 0)).state.more[0].value == 0b0110  # 1:100: K2
    assert law.predict(Setting(1, 9, 0)).state.more[0].value == 0b0010
    found = law.controls_of_words(2, {"latch-2": 0x166, "relays-2": 0b0110})
    assert found == {"pregain": 1, "code": 0x66, "attenuator": "1:100"}
    assert law.controls_of_words(2, {"latch-2": 0x166}) == {"pregain": 1, "code": 0x66}
    # both relays at once stand for no position: nothing is said about the attenuator
    assert "attenuator" not in law.controls_of_words(1, {"relays-1": 0b1110})
    assert law.controls_of_word(0x166, channel=2) == {"pregain": 1, "code": 0x66}


def test_one_latch_for_all_channels(hr4: Data, make_law: Law) -> None:
    hr4["bus"]["on_bus"] = [{"latch": "latch-1", "bits": 9, "channel": "all"}, {"latch": "latch-bias", "bits": 12}]
    law = make_law(hr4)
    assert {str(law.predict(Setting(channel, 0, 0)).state.word) for channel in (1, 2, 3, 4)} == {"latch-1:029"}


def test_fields_at_any_place_with_either_end_first(hr4: Data, make_law: Law) -> None:
    hr4["bus"]["layout"] = [
        {"control": "code", "bits": 8, "at": 4, "first_bit": "least-significant"},
        {"fill": 5, "bits": 3, "at": 0},
        {"control": "pregain", "at": 3},
    ]
    for member in hr4["bus"]["on_bus"][:4]:
        member["bits"] = 12
    law = make_law(hr4)
    assert law.word_of(1, {"pregain": 1, "code": 0b0000_0110}).value == 0b101_1_0110_0000
    assert law.controls_of_word(0b101_1_0110_0000) == {"code": 6, "pregain": 1}


def test_a_named_position_in_a_word(make_law: Law) -> None:
    law = make_law(tomllib.loads((CONFIGS / "devices" / "corrie-ur-2.toml").read_text()))
    # 60 dB: section x10 (01), second stage on (1), spare 0, code 200 at + 0 dB
    assert law.predict(Setting(1, 3, 0)).state.word.value == 0b01_1_0_000011001000
    assert law.controls_of_word(0b10_0_0_000000000111) == {"section": "x100", "second": 0, "code": 7}
    # the spare code 3 is no position: it stays a number, and has no gain that could be predicted
    found = law.controls_of_word(0b11_0_0_000000000111)
    assert found["section"] == 3
    assert law.gain_of(found) == 0.0
    assert law.word_of(1, found).value == 0b11_0_0_000000000111


def test_a_position_that_stands_in_no_word(make_law: Law) -> None:
    law = make_law(tomllib.loads((CONFIGS / "devices" / "corrie-ur-2.toml").read_text()))
    with pytest.raises(UsageError, match="control section: got 'x7'; allowed is 'x1', 'x10', 'x100', or its number"):
        law.word_of(1, {"section": "x7", "second": 0, "code": 0})


def test_words_of_a_device_without_a_bus(hr4: Data, make_law: Law) -> None:
    del hr4["bus"]
    with pytest.raises(UsageError, match=r"control words \{'latch-1': 41\}: the device file has no \[bus\]"):
        make_law(hr4).controls_of_words(1, {"latch-1": 41})


def test_expected_traffic_is_carried_along(make_law: Law) -> None:
    words = make_law(tomllib.loads((CONFIGS / "devices" / "tarn-vg-1.toml").read_text())).words
    assert words is not None
    assert (words.words_per_change, words.idle_edges_per_change) == (1, None)
