"""The rules of the bus, one by one, on hand-made captures; each refusal in words."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from harness.bus import BusDevice, BusWiring, decode
from harness.errors import CaptureError
from harness.values import Capture

WIRING = BusWiring(
    lines=("data", "clock", "one", "two", "bias"),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=30.0,
    devices=(BusDevice(latch="one", bits=4), BusDevice(latch="two", bits=4), BusDevice(latch="bias", bits=6)),
)
DATA, CLOCK, ONE, TWO, BIAS = 1, 2, 4, 8, 16


class Wire:
    """Builds a capture change by change; every line rests at 0."""

    def __init__(self, initial=0):
        self.initial = self.level = initial
        self.now_ns = 0
        self.events = []

    def change(self, mask, after_ns=0):
        self.now_ns += after_ns
        self.level ^= mask
        self.events.append((self.now_ns, self.level))
        return self

    def clock(self, bits):
        for bit in bits:
            if (self.level & DATA) != int(bit):
                self.change(DATA, 100)
            self.change(CLOCK, 200).change(CLOCK, 200)
        return self

    def latch(self, mask=ONE):
        return self.change(mask, 200).change(mask, 200)

    def capture(self, **changes):
        times, levels = zip(*self.events, strict=True) if self.events else ((), ())
        fields = {
            "times_ns": np.array(times, dtype=np.int64),
            "levels": np.array(levels, dtype=np.uint8),
            "initial": self.initial,
            "lines": WIRING.lines,
        }
        return Capture(**fields | changes)

    def decode(self, **changes):
        return decode(self.capture(), dataclasses.replace(WIRING, **changes))


def shown(decoding):
    return [(word.latches, word.value, word.clocks_since, word.note) for word in decoding.words]


def test_quiet_bus_says_nothing():
    decoding = decode(Wire().capture(), WIRING)
    assert decoding.words == ()
    assert (decoding.unlatched_bits, decoding.clock_edges, decoding.idle_data_edges, decoding.glitches) == (0, 0, 0, 0)
    assert decoding.complete
    assert decoding.last("one") is None


def test_first_bit_is_most_significant():
    assert shown(Wire().clock("0001").latch().decode()) == [(("one",), 0b0001, 4, "")]


def test_data_that_stands_high_from_the_beginning_is_read():
    assert shown(Wire(initial=DATA).clock("1101").latch().decode()) == [(("one",), 0b1101, 4, "")]


def test_devices_share_the_register_and_the_count():
    wire = Wire().clock("1010").latch(ONE).clock("0110").latch(TWO).clock("110001").latch(BIAS)
    assert shown(wire.decode()) == [
        (("one",), 0b1010, 4, ""),
        (("two",), 0b0110, 4, ""),
        (("bias",), 0b110001, 6, ""),
    ]
    assert wire.decode().last("two").value == 0b0110


def test_one_clock_too_many_is_a_long_frame():
    assert shown(Wire().clock("11010").latch().decode()) == [(("one",), 0b1010, 5, "long-frame")]


def test_one_clock_too_few_is_a_short_frame_without_a_word():
    wire = Wire().clock("1111").latch().clock("010").latch()
    assert shown(wire.decode()) == [(("one",), 0b1111, 4, ""), (("one",), None, 3, "short-frame")]
    assert wire.decode().last("one").value is None


def test_latch_without_clocks_takes_the_frame_before_again():
    wire = Wire().clock("1001").latch(ONE).latch(TWO).latch(BIAS)
    assert shown(wire.decode()) == [
        (("one",), 0b1001, 4, ""),
        (("two",), 0b1001, 0, "re-latch"),
        (("bias",), None, 0, "re-latch"),
    ]


def test_latch_without_clocks_after_a_short_frame_is_unknown():
    assert shown(Wire().clock("1001").latch().clock("01").latch().latch().decode())[2] == (
        ("one",),
        None,
        0,
        "re-latch",
    )


def test_latch_before_any_clock_is_unknown():
    assert shown(Wire().latch().decode()) == [(("one",), None, 0, "re-latch")]


def test_latches_at_one_time_are_a_broadcast_in_one_event_or_two():
    together = Wire().clock("0110").latch(ONE | TWO)
    apart = Wire().clock("0110").change(ONE, 200).change(TWO).change(ONE | TWO, 200)
    for wire in (together, apart):
        assert shown(wire.decode()) == [(("one", "two"), 0b0110, 4, "broadcast")]
        assert wire.decode().last("two").value == 0b0110


def test_broadcast_to_words_of_two_lengths_has_an_entry_for_each():
    assert shown(Wire().clock("110110").latch(ONE | BIAS).decode()) == [
        (("one",), 0b0110, 6, "long-frame"),
        (("bias",), 0b110110, 6, "broadcast"),
    ]


@pytest.mark.parametrize("order", ["data first", "clock first", "one event"])
def test_data_that_changes_with_the_clock_edge_is_too_late(order):
    wire = Wire().clock("000").change(0, 200)
    if order == "data first":
        wire.change(DATA).change(CLOCK)
    elif order == "clock first":
        wire.change(CLOCK).change(DATA)
    else:
        wire.change(DATA | CLOCK)
    wire.change(CLOCK, 200).latch()
    assert shown(wire.decode()) == [(("one",), 0b0000, 4, "")]
    assert wire.decode().idle_data_edges == 1  # no later clock edge samples the new level


def test_data_one_nanosecond_before_the_clock_edge_counts():
    wire = Wire().clock("000").change(DATA, 200).change(CLOCK, 1).change(CLOCK, 200).latch()
    assert shown(wire.decode()) == [(("one",), 0b0001, 4, "")]


def test_clock_edge_at_the_time_of_the_latch_belongs_to_the_next_frame():
    wire = Wire().clock("1011").change(CLOCK | ONE, 200).change(CLOCK | ONE, 200).clock("001").latch()
    assert shown(wire.decode()) == [(("one",), 0b1011, 4, ""), (("one",), 0b1001, 4, "")]


@pytest.mark.parametrize("line", [DATA, CLOCK, ONE])
@pytest.mark.parametrize("width_ns", [0, 4, 29])
def test_short_pulse_changes_nothing_but_is_counted(line, width_ns):
    wire = Wire().clock("01").change(line, 100).change(line, width_ns).clock("11").latch()
    decoding = wire.decode()
    assert shown(decoding) == [(("one",), 0b0111, 4, "")]
    assert decoding.glitches == 1
    assert decoding.idle_data_edges == 0


@pytest.mark.parametrize("width_ns", [30, 31])
def test_pulse_of_the_least_width_counts(width_ns):
    decoding = Wire().clock("01").change(CLOCK, 100).change(CLOCK, width_ns).clock("11").latch().decode()
    assert shown(decoding) == [(("one",), 0b1111, 5, "long-frame")]  # the bit before is taken twice
    assert decoding.glitches == 0


def test_notch_in_a_clock_pulse_is_one_clock():
    wire = Wire().clock("110").change(CLOCK, 200).change(CLOCK, 90).change(CLOCK, 5).change(CLOCK, 100).latch()
    assert shown(wire.decode()) == [(("one",), 0b1100, 4, "")]
    assert wire.decode().glitches == 1


def test_ringing_edge_stands_where_the_level_begins_to_last():
    # Up, down, up within 20 ns, then high: one edge, at the last of the three.
    ringing = Wire().clock("110").change(CLOCK, 200).change(CLOCK, 10).change(CLOCK, 10).change(CLOCK, 200).latch()
    assert shown(ringing.decode()) == [(("one",), 0b1100, 4, "")]
    assert ringing.decode().glitches == 1
    latch = Wire().clock("1100").change(ONE, 200).change(ONE, 10).change(ONE, 10).change(ONE, 200)
    assert latch.decode().words[0].time_ns == latch.events[-2][0]


def test_zero_least_pulse_takes_every_pulse_that_lasts():
    wire = Wire().clock("01").change(CLOCK, 100).change(CLOCK, 1).clock("1").change(CLOCK, 50).change(CLOCK).latch()
    decoding = wire.decode(minimum_pulse_ns=0.0)
    assert decoding.clock_edges == 4
    assert decoding.glitches == 1  # a pulse of no length at all is none


def test_falling_edges_of_clock_and_latch():
    wire = Wire(initial=CLOCK | ONE | TWO | BIAS)
    for bit in "1001":
        if (wire.level & DATA) != int(bit):
            wire.change(DATA, 100)
        wire.change(CLOCK, 200).change(CLOCK, 200)
    wire.latch()
    decoding = wire.decode(clock_rising=False, latch_rising=False)
    assert shown(decoding) == [(("one",), 0b1001, 4, "")]
    assert decoding.words[0].time_ns == wire.events[-2][0]
    assert decoding.clocks_under_latch == 0


def test_lines_that_begin_active_count_from_their_next_active_edge():
    wire = Wire(initial=CLOCK | ONE).change(CLOCK, 300).change(ONE, 300).clock("0110").latch()
    decoding = wire.decode()
    assert shown(decoding) == [(("one",), 0b0110, 4, "")]
    assert decoding.clock_edges == 4


def test_idle_data_between_clocks_does_not_count_but_is_reported():
    wire = Wire().clock("10")
    for _ in range(4):
        wire.change(DATA, 50)
    wire.clock("01").latch()
    for _ in range(3):
        wire.change(DATA, 50)
    decoding = wire.decode()
    assert shown(decoding) == [(("one",), 0b1001, 4, "")]
    assert decoding.idle_data_edges == 3 + 3  # of the four one is the last before the clock; the three have no clock


def test_clocks_under_an_active_latch_are_counted():
    wire = Wire().clock("1100").change(ONE, 200).clock("10").change(ONE, 200).clock("11").latch()
    decoding = wire.decode()
    assert shown(decoding) == [(("one",), 0b1100, 4, ""), (("one",), 0b1011, 4, "")]
    assert decoding.clocks_under_latch == 2


def test_clocks_after_the_last_latch_are_counted():
    decoding = Wire().clock("1100").latch().clock("101").decode()
    assert (decoding.unlatched_bits, decoding.clock_edges) == (3, 7)


def test_dropped_events_make_the_decoding_incomplete():
    assert not decode(Wire().clock("1100").latch().capture(dropped=1), WIRING).complete


def test_lines_are_found_by_name_and_others_are_ignored():
    wire = Wire().clock("1100").latch()
    capture = wire.capture(lines=("data", "clock", "one", "two", "bias", "spare"))
    assert shown(decode(capture, WIRING)) == [(("one",), 0b1100, 4, "")]
    crossed = wire.capture(lines=("data", "clock", "two", "one", "bias"))
    assert shown(decode(crossed, WIRING)) == [(("two",), 0b1100, 4, "")]


def unknown(wire, *marks):
    capture = wire.capture()
    mask = np.zeros(capture.levels.shape, dtype=np.uint8)
    for event, line in marks:
        mask[event] |= line
    return dataclasses.replace(capture, unknown=mask)


def test_unknown_data_at_the_clock_edge_spoils_its_own_word_only():
    wire = Wire().clock("0000").latch().clock("0000").latch()
    mask = [(event, DATA) for event in (3, 4)]  # from the fall of clock 2 to the fall of clock 3
    decoding = decode(unknown(wire, *mask), WIRING)
    assert shown(decoding) == [(("one",), None, 4, "unknown-level"), (("one",), 0, 4, "")]


def test_unknown_data_between_clock_edges_does_not_matter():
    wire = Wire().clock("0000").latch()
    assert shown(decode(unknown(wire, (0, DATA)), WIRING)) == [(("one",), 0, 4, "")]


def test_unknown_bit_that_was_pushed_out_does_not_matter():
    wire = Wire().clock("00000").latch()
    late = decode(unknown(wire, (1, DATA), (2, DATA)), WIRING)
    assert shown(late) == [(("one",), None, 5, "unknown-level")]
    # Data is unknown before the first clock edge only.
    early = Wire().change(0, 50).clock("00000").latch()
    assert shown(decode(unknown(early, (0, DATA)), WIRING)) == [(("one",), 0, 5, "long-frame")]


def test_empty_mask_of_unknown_levels_is_taken():
    capture = dataclasses.replace(Wire().capture(), unknown=np.zeros(0, dtype=np.uint8))
    assert decode(capture, WIRING).words == ()


@pytest.mark.parametrize(("line", "name"), [(CLOCK, "clock"), (TWO, "two")])
def test_unknown_clock_or_latch_is_refused(line, name):
    wire = Wire().clock("1100").latch()
    with pytest.raises(CaptureError, match=f"line {name} is unknown at 500 ns; only data may be"):
        decode(unknown(wire, (2, line), (3, line)), WIRING)


def test_time_that_runs_backwards_is_refused():
    capture = Wire().clock("11").capture()
    times_ns = capture.times_ns.copy()
    times_ns[2] = 1
    with pytest.raises(CaptureError, match=r"backwards at event 2, from 300 to 1 ns.*fetch again"):
        decode(dataclasses.replace(capture, times_ns=times_ns), WIRING)


def test_time_before_the_arming_is_refused():
    capture = Wire().clock("11").capture()
    with pytest.raises(CaptureError, match=r"first event at -900 ns; allowed is 0"):
        decode(dataclasses.replace(capture, times_ns=capture.times_ns - 1000), WIRING)


def test_arrays_of_different_length_are_refused():
    capture = Wire().clock("11").capture()
    for changes in (
        {"levels": capture.levels[:-1].copy()},
        {"unknown": np.zeros(1, dtype=np.uint8)},
        {"levels": capture.levels.reshape(1, -1), "times_ns": capture.times_ns.reshape(1, -1)},
    ):
        with pytest.raises(CaptureError, match=r"arrays of shapes .*allowed is one length, shape \(n,\)"):
            decode(dataclasses.replace(capture, **changes), WIRING)


def test_missing_line_is_refused():
    capture = Wire().clock("11").capture(lines=("data", "clock", "one", "zwei", "bias"))
    with pytest.raises(CaptureError, match=r"no line named two among data, clock, one, zwei, bias; name the captured"):
        decode(capture, WIRING)


@pytest.mark.parametrize("lines", [(), ("data", "data"), tuple("abcdefghi")])
def test_no_lines_too_many_or_twice_the_same_are_refused(lines):
    with pytest.raises(CaptureError, match="allowed are 1 to 8 names, each once"):
        decode(Wire().clock("11").capture(lines=lines), WIRING)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"lines": ()}, "lines .*allowed are 1 to 8 names, each once"),
        ({"lines": ("data", "data")}, "lines .*allowed are 1 to 8 names, each once"),
        ({"clock": "tick"}, r"data, clock and latches are \('data', 'tick'.*allowed are different names"),
        ({"clock": "data"}, "allowed are different names out of"),
        ({"devices": ()}, "bits by latch {}; allowed is one device or more"),
        ({"devices": (BusDevice(latch="one", bits=0),)}, "bits by latch {'one': 0}"),
        ({"minimum_pulse_ns": math.nan}, "minimum_pulse_ns is nan; allowed is a finite number from 0 up"),
        ({"minimum_pulse_ns": math.inf}, "minimum_pulse_ns is inf"),
        ({"minimum_pulse_ns": -1.0}, "minimum_pulse_ns is -1.0"),
    ],
)
def test_wiring_that_contradicts_itself_is_refused(changes, words):
    with pytest.raises(CaptureError, match=words):
        dataclasses.replace(WIRING, **changes)
