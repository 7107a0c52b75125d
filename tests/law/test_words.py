"""Layouts as data: both ways for any fields, either end of a field first."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import UsageError
from harness.law.words import WordLayout

WIDTHS = st.lists(st.integers(1, 12), min_size=1, max_size=5)


def layout(*widths: int, least_first: bool = False) -> WordLayout:
    fields = tuple((f"c{index}", bits) for index, bits in enumerate(widths))
    return WordLayout(fields=fields, least_significant_first=least_first, latches={1: "latch-1", 2: "latch-2"})


@given(widths=WIDTHS, least_first=st.booleans(), data=st.data())
def test_controls_to_word_and_back(widths: list[int], least_first: bool, data: st.DataObject) -> None:
    words = layout(*widths, least_first=least_first)
    controls = {f"c{i}": data.draw(st.integers(0, 2**bits - 1)) for i, bits in enumerate(widths)}
    assert words.controls_of(words.value_of(controls)) == controls


@given(widths=WIDTHS, least_first=st.booleans(), data=st.data())
def test_word_to_controls_and_back(widths: list[int], least_first: bool, data: st.DataObject) -> None:
    words = layout(*widths, least_first=least_first)
    value = data.draw(st.integers(0, 2**words.bits - 1))
    assert words.value_of(words.controls_of(value)) == value


@given(widths=WIDTHS, least_first=st.booleans(), data=st.data())
def test_against_the_bits_on_the_wire_written_out(widths: list[int], least_first: bool, data: st.DataObject) -> None:
    controls = {f"c{i}": data.draw(st.integers(0, 2**bits - 1)) for i, bits in enumerate(widths)}
    wire = ""
    for index, bits in enumerate(widths):
        ascending = [str(controls[f"c{index}"] >> k & 1) for k in range(bits)]
        wire += "".join(ascending if least_first else ascending[::-1])
    assert layout(*widths, least_first=least_first).value_of(controls) == int(wire, 2)


def test_pregain_before_an_8_bit_code() -> None:
    words = layout(1, 8)
    assert words.value_of({"c0": 1, "c1": 0x66}) == 0x166
    assert words.value_of({"c0": 0, "c1": 0x66}) == 0x066
    assert layout(1, 8, least_first=True).value_of({"c0": 1, "c1": 0b0000_0110}) == 0b1_0110_0000


def test_other_controls_are_ignored() -> None:
    assert layout(2).value_of({"c0": 3, "attenuator": "1:1"}) == 3


def test_the_latch_is_the_channel_s() -> None:
    assert str(layout(1, 8).word(2, {"c0": 0, "c1": 41})) == "latch-2:029"


@pytest.mark.parametrize(
    ("controls", "words"),
    [
        ({"c0": 2, "c1": 0}, "control c0: got 2; allowed is 0 to 1 in 1 bits"),
        ({"c0": 0, "c1": -1}, "control c1: got -1; allowed is 0 to 255 in 8 bits"),
        ({"c0": 0}, "control c1: got None; allowed is a whole number"),
    ],
)
def test_controls_that_do_not_fit(controls: dict[str, str | int], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        layout(1, 8).value_of(controls)


@pytest.mark.parametrize("value", [-1, 512])
def test_a_word_longer_than_the_layout(value: int) -> None:
    with pytest.raises(UsageError, match=f"control word {value}: allowed is 0 to 511, the word has 9 bits"):
        layout(1, 8).controls_of(value)


def test_a_channel_without_a_gain_device() -> None:
    with pytest.raises(UsageError, match="channel 3 has no gain device on the bus; allowed is one of 1, 2"):
        layout(1, 8).word(3, {"c0": 0, "c1": 0})
