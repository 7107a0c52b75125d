"""The three-wire captures and their words."""

from __future__ import annotations

import csv
import dataclasses
from pathlib import Path

import pytest

from harness.bus import BusDevice, BusWiring, decode, read_vcd

# Source: captures and words made for this project, after IEEE Std 1364-2005 clause 18 (value change dump); heads of the
# files. The words of the example were also read by two independent VCD readers, those of the faults by one.
DATA = Path(__file__).parent / "data"
WIRING = BusWiring(
    lines=("data", "clock", "latch_1", "latch_2", "latch_bias"),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=30.0,
    devices=(
        BusDevice(latch="latch_1", bits=9),
        BusDevice(latch="latch_2", bits=9),
        BusDevice(latch="latch_bias", bits=12),
    ),
)
WORDS = list(
    csv.DictReader(
        line for line in (DATA / "three-wire-words.csv").read_text("utf-8").splitlines() if not line.startswith("#")
    )
)


def decoded(name, **changes):
    wiring = dataclasses.replace(WIRING, **changes)
    return decode(read_vcd((DATA / f"three-wire-{name}.vcd").read_text("ascii"), wiring=wiring), wiring)


def rows(name):
    return [row for row in WORDS if row["file"] == name]


def test_example_holds_eight_sound_words():
    decoding = decoded("example")
    found = [
        (word.time_ns, "+".join(word.latches), word.bits, word.value, word.clocks_since, word.note)
        for word in decoding.words
    ]
    expected = [
        (int(row["time_ns"]), row["latch"], int(row["bits"]), int(row["word"], 16), int(row["bits_since"]), "")
        for row in rows("example")
    ]
    assert found == expected
    assert len(found) == 8
    assert decoding.unlatched_bits == 5
    assert decoding.clock_edges == 7 * 9 + 12 + 5
    assert decoding.complete
    assert decoding.glitches == 0
    assert decoding.clocks_under_latch == 0
    # Counted by hand in the dump: 2 and 3 too many at bits 2 and 5 of word 2, 4 before word 4, 3 before word 6.
    assert decoding.idle_data_edges == 2 + 3 + 4 + 3


def test_example_ends_with_the_words_that_the_devices_hold():
    decoding = decoded("example")
    held = {device.latch: decoding.last(device.latch) for device in WIRING.devices}
    assert {latch: word.value for latch, word in held.items()} == {
        "latch_1": 0x001,
        "latch_2": 0x100,
        "latch_bias": 0x800,
    }


def test_fault_rows_come_out_as_listed():
    # Word, count of clocks and note of each row; "re-latch" stands with 0 bits in the table: no bits were clocked.
    notes = {
        11250: (0x0F3, 9, ""),
        23300: (0x1E7, 10, "long-frame"),
        33350: (None, 8, "short-frame"),
        44400: (0x0AA, 9, "broadcast"),
        55654: (0x133, 9, ""),
        66704: (0x1D4, 9, ""),
        77754: (None, 9, "unknown-level"),
        79804: (None, 0, "re-latch"),
        90854: (0x00F, 9, ""),
    }
    decoding = decoded("faults")
    assert {word.time_ns: (word.value, word.clocks_since, word.note) for word in decoding.words} == notes
    for word, row in zip(decoding.words, rows("faults"), strict=True):
        assert word.time_ns == int(row["time_ns"])
        assert "+".join(word.latches) == row["latch"]
        assert word.clocks_since == int(row["bits_since"])
        if row["word"].startswith("0x"):
            assert word.value == int(row["word"], 16)
        else:
            assert word.value is None
    assert decoding.glitches == 1  # the 4 ns pulse on the clock
    assert decoding.clocks_under_latch == 2
    assert decoding.unlatched_bits == 2


def test_unfiltered_clock_pulse_makes_a_long_frame():
    decoding = decoded("faults", minimum_pulse_ns=0.0)
    word = next(word for word in decoding.words if word.time_ns == 55654)
    assert (word.clocks_since, word.note) == (10, "long-frame")
    assert decoding.glitches == 0


@pytest.mark.parametrize("name", ["example", "faults"])
def test_names_with_hyphens_find_those_with_underscores(name):
    hyphens = dataclasses.replace(
        WIRING,
        lines=tuple(line.replace("_", "-") for line in WIRING.lines),
        devices=tuple(BusDevice(latch=d.latch.replace("_", "-"), bits=d.bits) for d in WIRING.devices),
    )
    text = (DATA / f"three-wire-{name}.vcd").read_text("ascii")
    values = [word.value for word in decode(read_vcd(text, wiring=hyphens), hyphens).words]
    assert values == [word.value for word in decoded(name).words]
