"""Value change dumps to captures; what is no dump is refused in words, never by another error."""

from __future__ import annotations

import contextlib
import dataclasses
import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.bus import BusDevice, BusWiring, decode, read_vcd
from harness.bus.dump import VcdReader
from harness.errors import CaptureError

CALM = settings(derandomize=True, deadline=None)  # the same examples on every machine, however busy
WIRING = BusWiring(
    lines=("data", "clock", "latch"),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=0.0,
    devices=(BusDevice(latch="latch", bits=2),),
)
HEAD = """$timescale 1 ns $end
$scope module bus $end
$var wire 1 d data $end
$var wire 1 c clock $end
$var wire 1 l latch $end
$var wire 1 o other $end
$upscope $end
$enddefinitions $end
"""
BODY = "#0 0d 0c 0l 0o #10 1d #20 1c #25 1o #30 0c 0d #40 1c #50 0c #60 1l #70 0l\n"


MANY = "".join(f"$var wire 1 {k} more{k} $end\n" for k in range(5))


def read(text, **changes):
    return read_vcd(text, wiring=dataclasses.replace(WIRING, **changes))


def test_changes_at_one_time_are_one_event_and_other_signals_none():
    capture = read(HEAD + BODY)
    assert capture.lines == WIRING.lines
    assert capture.initial == 0
    assert capture.unknown is None
    assert capture.dropped == 0
    assert capture.times_ns.tolist() == [0, 10, 20, 30, 40, 50, 60, 70]
    assert capture.levels.tolist() == [0, 1, 3, 0, 2, 0, 4, 0]
    assert [word.value for word in decode(capture, WIRING).words] == [0b10]


@pytest.mark.parametrize(
    ("unit", "times_ns"),
    [
        ("1 ns", [0, 10, 20]),
        ("10ns", [0, 100, 200]),
        ("1us", [0, 10_000, 20_000]),
        ("100 ps", [0, 1, 2]),
        ("1 ms", [0, 10_000_000, 20_000_000]),
        ("1 s", [0, 10_000_000_000, 20_000_000_000]),
    ],
)
def test_time_scale_is_applied(unit, times_ns):
    capture = read(HEAD.replace("1 ns", unit) + "#0 0d 0c 0l #10 1d #20 1c\n")
    assert capture.times_ns.tolist() == times_ns


def test_finer_times_are_cut_to_whole_nanoseconds():
    capture = read(HEAD.replace("1 ns", "1 ps") + "#0 0d 0c 0l #1200 1d #1900 1c #2000 0c\n")
    assert capture.times_ns.tolist() == [0, 1, 2]
    assert capture.levels.tolist() == [0, 3, 1]


def test_unknown_data_is_marked_and_keeps_its_level():
    for value in ("x", "X", "z", "bz ", "u"):
        capture = read(HEAD + f"#0 1d 0c 0l #10 {value}d #20 1c #30 0c 0d #40 1c #50 1l\n")
        assert capture.levels.tolist() == [1, 1, 3, 0, 2, 6]
        assert capture.unknown is not None
        assert capture.unknown.tolist() == [0, 1, 1, 0, 0, 0]
        assert decode(capture, WIRING).words[0].note == "unknown-level"


def test_vectors_of_one_bit_and_strength_letters_are_levels():
    capture = read(HEAD + "#0 b0 d Lc 0l #10 b1 d #20 Hc\n")
    assert capture.levels.tolist() == [0, 1, 3]


def test_lines_without_a_value_at_first_make_no_edge():
    capture = read(HEAD + "#0 xd xc xl #10 1c #15 1d #20 0c #30 1c #40 0l #50 1l\n")
    assert capture.initial == 0b011
    assert capture.unknown is not None
    assert capture.unknown.tolist()[:2] == [1, 0]
    decoding = decode(capture, WIRING)
    assert decoding.clock_edges == 1
    assert [word.time_ns for word in decoding.words] == [50]


def test_unknown_clock_in_the_middle_is_refused_by_the_decoder():
    with pytest.raises(CaptureError, match="line clock is unknown at 10 ns"):
        decode(read(HEAD + "#0 0d 0c 0l #10 xc #20 1c\n"), WIRING)


def test_line_is_found_by_its_path():
    text = HEAD.replace("$upscope $end", "$upscope $end $scope module copy $end $var wire 1 k clock $end $upscope $end")
    with pytest.raises(
        CaptureError, match=r"line clock is 2 signals .*allowed is one of 1 bit.*bus\.clock.*copy\.clock"
    ):
        read(text + BODY)
    changes = {"lines": ("data", "bus.clock", "latch"), "clock": "bus.clock"}
    assert read(text + BODY, **changes).levels.tolist() == [0, 1, 3, 0, 2, 0, 4, 0]


def test_one_signal_under_two_names_is_one_line():
    text = HEAD.replace("$upscope $end", "$upscope $end $scope module copy $end $var wire 1 c clock $end $upscope $end")
    assert read(text + BODY).levels.tolist() == [0, 1, 3, 0, 2, 0, 4, 0]


def test_missing_line_is_refused():
    with pytest.raises(CaptureError, match=r"line latch is no signal; .*signals of the dump: bus\.data, bus\.clock"):
        read(HEAD.replace("latch", "strobe") + BODY)
    with pytest.raises(CaptureError, match="signals of the dump: none"):
        read("$timescale 1 ns $end $enddefinitions $end #0\n")


def test_wide_signal_is_refused():
    with pytest.raises(CaptureError, match=r"line data is 1 signals of \[8\] bits; allowed is one of 1 bit"):
        read(HEAD.replace("wire 1 d", "wire 8 d") + BODY)


def test_dump_without_time_scale_is_refused():
    with pytest.raises(CaptureError, match=r"no \$timescale; allowed is one such as 1 ns"):
        read(HEAD.replace("$timescale 1 ns $end\n", "") + BODY)


@pytest.mark.parametrize("text", ["", "   \n", HEAD[:40], HEAD.replace("$enddefinitions $end\n", "")])
def test_dump_without_end_of_definitions_is_refused(text):
    with pytest.raises(CaptureError, match="definitions never end"):
        read(text)


@pytest.mark.parametrize("text", ["time,data\n0,1\n", "$nonsense $end", HEAD + "#0 0d ?? 1c\n", HEAD + "#abc"])
def test_text_that_is_no_dump_is_refused(text):
    with pytest.raises(CaptureError, match=r"VCD: \d+:\d+: .*allowed is a value change dump after IEEE 1364"):
        read(text)


def test_time_that_runs_backwards_is_refused():
    with pytest.raises(CaptureError, match=r"time 10 ns after 20 ns; allowed are times that never decrease"):
        read(HEAD + "#0 0d 0c 0l #20 1c #10 0c\n")


def test_place_of_a_time_that_runs_backwards_is_named():
    with pytest.raises(CaptureError, match=r"VCD: 11:1 \(line:column\): time 10 ns after 20 ns"):
        read(HEAD + "#0 0d 0c 0l\n#20 1c\n#10 0c\n")


def test_without_names_all_signals_of_one_bit_are_lines():
    reader = VcdReader(io.BytesIO((HEAD.replace("wire 1 o", "wire 4 o") + BODY).encode()))
    (piece,) = reader.pieces()
    assert reader.lines == ("bus.data", "bus.clock", "bus.latch")
    assert reader.initial == 0
    assert piece.levels.tolist() == [0, 1, 3, 0, 2, 0, 4, 0]
    for text, count in ((HEAD.replace("wire 1", "wire 4"), 0), (HEAD.replace("$upscope", MANY + "$upscope"), 9)):
        with pytest.raises(CaptureError, match=f"VCD: {count} signals of one bit; allowed are 1 to 8"):
            list(VcdReader(io.BytesIO((text + BODY).encode())).pieces())


def test_time_beyond_all_bounds_is_refused():
    with pytest.raises(CaptureError, match="stay below 4611686018427387904 ns"):
        read(HEAD + "#0 0d 0c 0l #99999999999999999999999 1c\n")


@CALM
@given(
    position=st.integers(0, len(HEAD + BODY)),
    cut=st.integers(0, 30),
    piece=st.text(alphabet="$#01xzbrs dcl\n\t[]:end\\é", max_size=12),
)
def test_damaged_dump_is_read_or_refused(position, cut, piece):
    text = HEAD + BODY
    with contextlib.suppress(CaptureError):
        assert decode(read(text[:position] + piece + text[position + cut :]), WIRING).complete


def test_long_dump_is_read_whole():
    # Longer than the reader's buffer of 8 KiB.
    edges = np.arange(1, 5001)
    text = HEAD + "#0 0d 0c 0l\n" + "".join(f"#{10 * n}\n{n % 2}c\n" for n in edges.tolist())
    assert decode(read(text), WIRING).clock_edges == 2500
