import dataclasses

import numpy as np
import pytest

from harness.errors import NotFinite
from harness.values import ControlWord, Decoding, LatchedWord, RunHeader, State, Waveform


def waveform(**changes: object) -> Waveform:
    fields: dict[str, object] = {
        "codes": np.zeros(8, dtype=np.int16), "sample_rate_hz": 1e5, "scale_v_per_code": 1e-3, "sequence": 1,
    }  # fmt: skip
    return Waveform(**{**fields, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize(("field", "value"), [("scale_v_per_code", 9.9e37), ("sample_rate_hz", float("nan"))])
def test_a_waveform_never_carries_an_instruments_no_number(field: str, value: float) -> None:
    with pytest.raises(NotFinite, match=f"{field} is .*; allowed is a positive finite number"):
        waveform(**{field: value})


def test_codes_cannot_be_changed_after_the_fact() -> None:
    wave = waveform()
    with pytest.raises(ValueError, match="read-only"):
        wave.codes[0] = 1


def test_records_are_frozen() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        waveform().sequence = 2  # type: ignore[misc]


def test_words_print_as_hexadecimal_of_their_length() -> None:
    assert str(ControlWord("latch-1", 9, 0x1A)) == "latch-1:01A"
    assert str(ControlWord("latch-bias", 12, 0xABC)) == "latch-bias:ABC"


def test_a_state_knows_its_controls() -> None:
    state = State(word=ControlWord("l", 1, 0), controls=(("attenuator", "1:10"),), arithmetic_ratio=1.0)
    assert state.control("attenuator") == "1:10"
    with pytest.raises(KeyError):
        state.control("pregain")


def test_the_last_word_of_a_latch_counts() -> None:
    def word(time_ns: int, latch: str, value: int) -> LatchedWord:
        return LatchedWord(time_ns=time_ns, latches=(latch,), bits=9, value=value, clocks_since=9)

    decoding = Decoding(
        words=(word(1, "a", 1), word(2, "a", 2), word(3, "b", 3)),
        unlatched_bits=0, clock_edges=27, idle_data_edges=0, complete=True,
    )  # fmt: skip
    last = decoding.last("a")
    assert last is not None
    assert last.value == 2
    assert decoding.last("c") is None


def test_a_header_finds_its_files_by_role() -> None:
    header = RunHeader(
        run_id="r", unit="u", operator="o", started_utc="", mode="simulated", seed=1, faults=(), planned=0,
        identities=(), files=(), software="0",
    )  # fmt: skip
    with pytest.raises(KeyError):
        header.file("job")
