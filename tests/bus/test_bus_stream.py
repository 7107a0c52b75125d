"""Pieces of any size say what the whole says; packed samples say what their edges say; chains and rewrites."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.bus import BusDevice, BusStream, BusWiring, PackedReader, Piece, decode, measure_timing
from harness.errors import CaptureError
from harness.values import Capture

CALM = settings(derandomize=True, deadline=None, max_examples=150)
WIRING = BusWiring(
    lines=("data", "clock", "one", "two", "bias"),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=30.0,
    devices=(BusDevice(latch="one", bits=4), BusDevice(latch="two", bits=4), BusDevice(latch="bias", bits=6)),
)
CHAIN = BusWiring(
    lines=("data", "clock", "latch"),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=0.0,
    devices=(BusDevice(latch="latch", bits=4), BusDevice(latch="latch", bits=6)),
)
RANDOM_STEPS = st.lists(
    st.tuples(st.sampled_from([0, 1, 10, 29, 30, 31, 80, 400]), st.sampled_from([0, 1, 1, 1, 1, 2, 3, 4])),
    max_size=120,
)


def capture_of(steps, initial=0, unknown=None):
    """Any traffic at all: every step toggles one line some time later."""
    times, levels, now, level = [], [], 0, initial
    for gap_ns, line in steps:
        now += gap_ns
        level ^= 1 << line
        times.append(now)
        levels.append(level)
    return Capture(
        times_ns=np.array(times, dtype=np.int64),
        levels=np.array(levels, dtype=np.uint8),
        initial=initial,
        lines=WIRING.lines,
        unknown=unknown,
    )


def in_pieces(capture, cuts, wiring=WIRING):
    stream = BusStream(wiring, initial=capture.initial, lines=capture.lines)
    words = []
    borders = [0, *sorted(cut % (capture.times_ns.size + 1) for cut in cuts), capture.times_ns.size]
    for start, end in itertools.pairwise(borders):
        times_ns = capture.times_ns[start:end]
        last = int(capture.times_ns[end - 1]) if end else 0
        unknown = None if capture.unknown is None else capture.unknown[start:end]
        piece = Piece(ticks=times_ns, levels=capture.levels[start:end], known_to=last, unknown=unknown)
        words += stream.feed(piece).words()
    words += stream.close().words()
    return stream.decoding(tuple(words)), stream.timing()


@CALM
@given(steps=RANDOM_STEPS, initial=st.integers(0, 31), cuts=st.lists(st.integers(0, 200), max_size=8))
def test_pieces_say_what_the_whole_says(steps, initial, cuts):
    capture = capture_of(steps, initial)
    decoding, timing = in_pieces(capture, cuts)
    assert decoding == decode(capture, WIRING)
    assert timing == measure_timing(capture, WIRING)


@CALM
@given(steps=RANDOM_STEPS, cuts=st.lists(st.integers(0, 200), max_size=8), seed=st.integers(0, 2**32 - 1))
def test_pieces_with_unknown_data_say_what_the_whole_says(steps, cuts, seed):
    unknown = (np.random.default_rng(seed).random(len(steps)) < 0.3).astype(np.uint8)
    capture = capture_of(steps, unknown=unknown)
    assert in_pieces(capture, cuts)[0] == decode(capture, WIRING)


@CALM
@given(steps=RANDOM_STEPS, chunk=st.integers(1, 400))
def test_packed_samples_say_what_their_edges_say(steps, chunk):
    # One sample each 10 ns; only what stands at a sample is seen.
    capture = capture_of(steps)
    grid = np.arange(0, (int(capture.times_ns[-1]) if steps else 0) + 100, 10)
    at = capture.times_ns.searchsorted(grid, side="right") - 1
    samples = (np.where(at >= 0, capture.levels[at], 0) if steps else np.zeros(grid.size)).astype(np.uint8)
    changes = np.flatnonzero(np.diff(samples)) + 1
    seen = Capture(times_ns=changes * 10, levels=samples[changes], initial=int(samples[0]), lines=WIRING.lines)
    reader, stream, words = PackedReader(100e6), None, []
    for start in range(0, samples.size, chunk):
        piece = reader.take(samples[start : start + chunk])
        stream = stream or BusStream(WIRING, initial=reader.initial, tick_ns=reader.tick_ns)
        words += stream.feed(piece).words()
    words += stream.close().words()
    assert stream.decoding(tuple(words)) == decode(seen, WIRING)
    packed, edges = stream.timing(), measure_timing(seen, WIRING)
    assert [(d.name, d.count, d.minimum_ns, d.mean_ns) for d in packed.distances] == [
        (d.name, d.count, d.minimum_ns, pytest.approx(d.mean_ns)) for d in edges.distances
    ]


def test_packed_reader_takes_nothing_and_refuses_no_rate():
    reader = PackedReader(1e6)
    assert reader.take(np.zeros(0, dtype=np.uint8)).ticks.size == 0
    assert reader.initial is None
    assert reader.take(np.array([3, 3, 1], dtype=np.uint8)).ticks.tolist() == [2]
    assert reader.take(np.array([2, 2], dtype=np.uint8)).ticks.tolist() == [3]
    for rate_hz in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(CaptureError, match=r"packed samples: rate .* allowed is a number above 0 and below 1e12"):
            PackedReader(rate_hz)


def test_words_come_with_the_piece_that_holds_them():
    # 101 and a latch; 30 ns after the latch edge the word is sure, and memory holds nothing of it any more.
    steps = [
        (100, 0),
        (100, 1),
        (100, 1),
        (100, 0),
        (100, 1),
        (100, 1),
        (100, 0),
        (100, 1),
        (100, 1),
        (100, 1),
        (100, 1),
    ]
    capture = capture_of([*steps, (100, 2)])
    stream = BusStream(WIRING, initial=0)
    last = int(capture.times_ns[-1])
    table = stream.feed(Piece(ticks=capture.times_ns, levels=capture.levels, known_to=last + 30))
    assert [(word.value, word.clocks_since) for word in table.words()] == [(0b1011, 4)]
    assert len(stream.close()) == 0


def frame(bits, latch=2):
    """Steps that clock bits in, then a latch pulse; data starts and ends low."""
    steps, level = [], "0"
    for bit in bits:
        if bit != level:
            steps.append((100, 0))
            level = bit
        steps += [(100, 1), (100, 1)]
    if level == "1":
        steps.append((100, 0))
    return [*steps, (100, latch), (100, latch)]


def chained(*frames):
    capture = capture_of([step for bits in frames for step in frame(bits)])
    return Capture(times_ns=capture.times_ns, levels=capture.levels, initial=0, lines=CHAIN.lines)


def test_chain_has_a_word_for_each_device_the_farthest_first():
    decoding = decode(chained("101010" + "0110"), CHAIN)
    assert [(word.position, word.bits, word.value, word.note) for word in decoding.words] == [
        (1, 6, 0b101010, ""),
        (0, 4, 0b0110, ""),
    ]
    assert decoding.last("latch").value == 0b0110
    assert decoding.last("latch", position=1).value == 0b101010


def test_chain_counts_its_whole_length():
    decoding = decode(chained("1" * 9, "1" * 11, "1" * 10), CHAIN)
    assert [(word.position, word.value, word.clocks_since, word.note) for word in decoding.words] == [
        (1, None, 9, "short-frame"),
        (0, None, 9, "short-frame"),
        (1, 0b111111, 11, "long-frame"),
        (0, 0b1111, 11, "long-frame"),
        (1, 0b111111, 10, ""),
        (0, 0b1111, 10, ""),
    ]


def test_rewrites_are_counted_device_by_device():
    steps = [*frame("1010"), *frame("1010", 3), *frame("1010"), *frame("0110"), *frame("1010", 3)]
    assert decode(capture_of(steps), WIRING).rewrites == 2
    assert decode(chained("1010101111", "1010100000"), CHAIN).rewrites == 1  # the far device has the same word


@pytest.mark.parametrize(
    ("bits", "value", "note"), [("11", None, "unknown-history"), ("01100", 0b1100, "unknown-history"), ("1001", 9, "")]
)
def test_first_frame_after_an_unknown_history(bits, value, note):
    capture = capture_of([*frame(bits), *frame("11")])
    first, second = decode(capture, WIRING, history_known=False).words
    assert (first.value, first.note) == (value, note)
    assert second.note == "short-frame"


def test_latch_without_clocks_keeps_its_word_over_the_border_of_pieces():
    capture = capture_of([*frame("1001"), *frame("")])
    for cut in range(capture.times_ns.size):
        words = in_pieces(capture, [cut])[0].words
        assert [(word.value, word.note) for word in words] == [(9, ""), (9, "re-latch")]


def test_times_before_zero_are_taken_by_the_stream():
    capture = capture_of(frame("1001"))
    stream = BusStream(WIRING, initial=0)
    last = int(capture.times_ns[-1]) - 5000
    stream.feed(Piece(ticks=capture.times_ns - 5000, levels=capture.levels, known_to=last))
    timing = stream.timing()
    assert stream.frames.clocks == 4
    assert timing.distance("setup").minimum_ns == 100.0


def test_pieces_in_the_wrong_order_are_refused():
    capture = capture_of(frame("1001"))
    stream = BusStream(WIRING, initial=0)
    piece = Piece(ticks=capture.times_ns, levels=capture.levels, known_to=int(capture.times_ns[-1]))
    stream.feed(piece)
    with pytest.raises(CaptureError, match=r"time runs backwards to 100 ns, by 1300 ns; allowed are times that never"):
        stream.feed(piece)


def test_unknown_latch_is_refused_with_its_time():
    capture = capture_of(frame("1001"))
    unknown = np.zeros_like(capture.levels)
    unknown[5] = 8
    stream = BusStream(WIRING, initial=0)
    with pytest.raises(CaptureError, match=r"line two is unknown at 600 ns; only data may be"):
        stream.feed(Piece(ticks=capture.times_ns, levels=capture.levels, known_to=2000, unknown=unknown))
