"""What is said about a capture, and what spoils it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from harness.bus import BusDevice, BusWiring, TimingLimits, decode, measure_timing
from harness.bus.findings import CaptureFacts, Weight, findings
from harness.values import Capture, LatchedWord, LineLevels

WIRING = BusWiring(
    lines=("data", "clock", "latch", "other"),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=30.0,
    devices=(BusDevice(latch="latch", bits=3), BusDevice(latch="other", bits=3)),
)
DATA, CLOCK, LATCH, OTHER = 1, 2, 4, 8
SOUND = "d c c d c c d c c l l"
STEPS = {"d": DATA, "c": CLOCK, "l": LATCH, "o": OTHER, "b": LATCH | OTHER}


def said(steps, *, gap_ns=100, limits=None, wiring=WIRING, **facts):
    times, levels, now, level = [], [], 0, 0
    for step in steps.split():
        now += 4 if step.startswith("!") else gap_ns
        level ^= STEPS[step.lstrip("!")]
        times.append(now)
        levels.append(level)
    capture = Capture(
        times_ns=np.array(times, dtype=np.int64), levels=np.array(levels, dtype=np.uint8), initial=0, lines=wiring.lines
    )
    decoding = decode(capture, wiring, history_known=False)
    timing = measure_timing(capture, wiring, limits or TimingLimits())
    notes = [word.note for word in decoding.words if word.note]
    facts = {
        "first": decoding.words[0] if decoding.words else None,
        "note_counts": tuple((note, notes.count(note)) for note in dict.fromkeys(notes)),
    } | facts
    found = findings(decoding, timing, wiring, CaptureFacts(**facts))
    return {finding.name: finding for finding in found}


def unsound(found):
    return {name for name, finding in found.items() if finding.weight is Weight.UNSOUND}


def test_sound_capture_has_nothing_against_it():
    assert said(SOUND) == {}


@pytest.mark.parametrize(
    ("steps", "name", "words"),
    [
        ("d d d", "no-clock", "no active edge on clock"),
        ("d c c d c c", "no-latch", "no active edge on latch, other"),
        ("c c c c l l " + SOUND, "starts-inside-frame", "2 clocks before the first latch at 500 ns, 3 make a word"),
        (SOUND + " c c", "ends-inside-frame", "ends with 1 clocks and no latch: it ends inside a frame"),
        (SOUND + " c c l l", "short-frame", "1 frames with fewer clocks than the word has bits: no word"),
        (SOUND + " c c c c c c c c l l", "long-frame", "1 frames with more clocks"),
        (SOUND + " l l", "re-latch", "1 frames without a clock since the latch before"),
        (SOUND + " c c c c c c b b", "broadcast", "1 frames at which several latches fired together"),
        (SOUND + " c c c c c c l c c l", "clocks-under-latch", "1 clock edges while a latch was active"),
        (SOUND + " c !c", "glitches", "clock: 1 pulses shorter than 30 ns were taken out"),
    ],
)
def test_faults_of_traffic_are_named(steps, name, words):
    found = said(steps)
    assert name in unsound(found)
    assert words in found[name].text


def test_notes_do_not_spoil():
    found = said(SOUND + " d d d !d " + SOUND.replace("c c d c c d c c", "c c d c c d c c"))
    assert found["idle-data"].weight is Weight.NOTE
    assert "glitches" not in unsound(found)
    assert said(SOUND + " d d " + SOUND)["idle-data"].weight is Weight.NOTE
    turned = said(SOUND + " d c c d c c d c c l l")
    assert "rewrites" not in turned
    # Data stands high at the end of the frame; another edge makes the same word again.
    assert said(SOUND + " d " + SOUND)["rewrites"].text == "1 words equal to the one that the device had already"


def test_declared_broadcast_is_a_note():
    allowed = dataclasses.replace(WIRING, broadcast_allowed=True)
    found = said(SOUND + " c c c c c c b b", wiring=allowed)
    assert found["broadcast"].weight is Weight.NOTE
    assert "as the wiring allows" in found["broadcast"].text


def test_first_frame_of_unknown_history_is_a_note():
    found = said("c c " + SOUND)
    assert found["unknown-history"].weight is Weight.NOTE
    assert unsound(found) == set()


def test_word_that_was_never_latched_is_told_from_a_cut():
    found = said(SOUND + " c c c c c c", quiet_ns=1e6)
    assert "never-latched" in unsound(found)
    assert "no latch followed: the word was never taken" in found["never-latched"].text
    assert "ends-inside-frame" in said(SOUND + " c c c c c c", quiet_ns=100.0)


def test_dropped_events_spoil():
    assert "the adapter dropped 3 events" in said(SOUND, dropped=3)["dropped"].text


def test_too_few_samples_spoil_and_coarse_ones_are_noted():
    found = said(SOUND, sample_ns=50.0)
    assert "the shortest clock half period is 2 samples; 4 are needed" in found["undersampled"].text
    assert "sample faster than 4e+07 Hz" in found["undersampled"].text
    found = said(SOUND, sample_ns=25.0)
    assert unsound(found) == set()
    assert "the smallest setup is 4 samples of 25 ns: good for words" in found["coarse-timing"].text
    assert said(SOUND, sample_ns=20.0) == {}


def test_violated_limits_spoil():
    found = said(SOUND, limits=TimingLimits(setup_ns=101.0, clock_hz=1e6))
    assert "setup: 3 of 3 below the limit of 101 ns; the smallest is 100 ns, at 200 ns" in found["setup-violated"].text
    assert "2 periods faster than the limit of 1e+06 Hz" in found["clock-rate-violated"].text


def test_data_at_the_clock_edge_is_marginal_even_without_a_limit():
    steps = SOUND.replace("d c c l", "d c c l")
    times_steps = steps.split()
    capture_steps = " ".join(times_steps)
    assert unsound(said(capture_steps)) == set()
    capture = Capture(
        times_ns=np.array([100, 200, 300]), levels=np.array([3, 1, 2], dtype=np.uint8), initial=0, lines=WIRING.lines
    )
    found = findings(decode(capture, WIRING), measure_timing(capture, WIRING), WIRING, CaptureFacts())
    text = next(finding.text for finding in found if finding.name == "setup-zero")
    assert text == "data changes at the very clock edge, at 100 ns: the bit read is marginal"


def test_levels():
    line = LineLevels(
        line="clock", high_v=2.2, low_v=0.1, least_high_v=1.9, most_low_v=0.3, v_il_v=0.8, v_ih_v=2.0, automatic=False
    )
    found = said(SOUND, levels=(line,))
    assert found["weak-level"].text == "clock: rests between V_IL 0.8 V and V_IH 2 V"
    auto = dataclasses.replace(line, least_high_v=2.1, automatic=True)
    assert set(said(SOUND, levels=(auto,))) == {"auto-thresholds"}
    found = said(SOUND, marginal_words=2, marginal_lines=("data",))
    assert "2 words; lines: data: the levels are marginal" in found["marginal-levels"].text
    assert "none in its number of edges" in said(SOUND, marginal_words=1)["marginal-levels"].text


def test_findings_that_spoil_come_first():
    names = list(said(SOUND + " d d " + SOUND + " c c"))
    assert names.index("ends-inside-frame") < names.index("idle-data")


def test_broadcast_row_of_a_chain_counts_its_whole_frame():
    devices = (BusDevice(latch="latch", bits=2), BusDevice(latch="latch", bits=1), BusDevice(latch="other", bits=3))
    chain = dataclasses.replace(WIRING, devices=devices)
    assert said(SOUND, wiring=chain) == {}
    word = LatchedWord(time_ns=0, latches=("latch",), bits=2, value=None, clocks_since=2)
    found = said(SOUND, wiring=chain, first=word)
    assert "2 clocks before the first latch at 0 ns, 3 make a word" in found["starts-inside-frame"].text
