"""Realness in a run: words, the waveform alone, both; contradictions said; bus timing claimed."""

from __future__ import annotations

import dataclasses
import math
from collections import Counter
from types import SimpleNamespace

import numpy as np
import pytest

from harness.app.setup import read_setup
from harness.config.bus_limits import BusTimingLimits
from harness.judge.confirm import confirm, contradicts
from harness.judge.realness import Found
from harness.judge.waveform import Compared, Says, WaveformTest, WaveformView
from harness.judge.waveform.combine import Decision
from harness.simulated.skerry_hr4 import SkerryTruth
from harness.values import Realness, Setting
from tests.judge.run_builder import JOB
from tests.simulated_run import decided, swept, without_words


def run(*faults):
    setup = read_setup(JOB)
    setup = dataclasses.replace(setup, rungs=tuple(rung for rung in setup.rungs if rung.setting.channel == 1))
    readings = swept(setup, seed=5, faults=faults)
    return SimpleNamespace(setup=setup, readings=readings, result=decided(setup, readings))


@pytest.fixture(scope="module")
def good():
    return run()


@pytest.fixture(scope="module")
def arithmetic():
    return run("fine-gain-arithmetic")


def test_words_and_waveform_agree_on_a_good_unit(good):
    assert good.result.verdict.value == "PASS"
    for row in good.result.settings:
        truth = Realness.ARITHMETIC if row.setting.coarse == 10 else Realness.HARDWARE
        evidence = row.evidence
        assert (evidence.words, evidence.both, row.realness, evidence.contradiction) == (truth, truth, truth, False)
        assert evidence.waveform in (truth, Realness.UNPROVEN)
        assert {"W1", "W2", "W3", "W4", "W5", "W6", "W7"} == {test.name for test in evidence.tests}
        # The job takes no readings for three of them.
        assert {test.why.split(": ")[0] for test in evidence.tests if test.name in ("W4", "W5", "W6")} == {
            "the job asks for no such readings"
        }
        assert evidence.waveform is Realness.UNPROVEN or (evidence.confidence > 0.99 and 1.0 < evidence.power_m < 1.2)
    told = Counter(row.evidence.waveform for row in good.result.settings)
    assert told[Realness.UNPROVEN] <= 3, told


def test_without_words_the_waveform_decides(good):
    result = decided(*without_words(good.setup, good.readings))
    assert result.notes[0] == "No control words were captured: realness is decided by the waveform alone."
    found = Counter((row.setting.coarse == 10, row.realness) for row in result.settings)
    assert found[True, Realness.ARITHMETIC] == 5
    assert found[False, Realness.HARDWARE] >= 47
    assert {row.evidence.words for row in result.settings} == {Realness.UNPROVEN}
    claims = Counter(claim.outcome.value for claim in result.judgements if claim.item == "realness")
    assert set(claims) <= {"PASS", "INCONCLUSIVE"}
    assert claims["PASS"] > 9 * claims["INCONCLUSIVE"]
    declared = next(row for row in result.settings if row.setting == Setting(1, 10, 0))
    assert declared.arithmetic_ratio == pytest.approx(2.0)


def test_fine_gain_by_arithmetic_is_found_without_words(arithmetic):
    result = decided(*without_words(arithmetic.setup, arithmetic.readings))
    assert result.verdict.value == "FAIL"
    for row in result.settings:
        if row.setting.coarse < 10:
            truth = Realness.HARDWARE if row.setting.fine == 0 else Realness.ARITHMETIC
            assert row.realness in (truth, Realness.UNPROVEN), row.label
    last = next(row for row in result.settings if row.setting == Setting(1, 4, 20))
    assert (last.realness, last.arithmetic_ratio) == (Realness.ARITHMETIC, pytest.approx(2.5))
    assert "gain is arithmetic" in last.reason
    assert "hardware is specified" in last.reason


def test_words_that_the_waveform_contradicts_are_a_fault(good, arithmetic):
    # The bus of the good unit over the records of the bad one: new words, which nothing executed.
    mixed = [
        dataclasses.replace(bad, capture=fine.capture)
        for bad, fine in zip(arithmetic.readings, good.readings, strict=True)
    ]
    result = decided(arithmetic.setup, mixed)
    last = next(row for row in result.settings if row.setting == Setting(1, 4, 20))
    assert last.word_outcome.value == "PASS"
    assert (last.realness, last.evidence.contradiction) == (Realness.FAULT, True)
    assert "words and waveform contradict: a new state was latched but not executed" in last.reason
    assert any("Words and waveform contradict at" in note for note in result.notes)
    # And the other way: one word throughout, records of hardware.
    mixed = [
        dataclasses.replace(fine, capture=bad.capture)
        for bad, fine in zip(arithmetic.readings, good.readings, strict=True)
    ]
    result = decided(good.setup, mixed)
    row = next(row for row in result.settings if row.setting == Setting(1, 4, 20))
    assert (row.realness, row.evidence.contradiction) == (Realness.UNPROVEN, True)
    (claim,) = (
        c for c in result.judgements if (c.item, c.setting, c.other) == ("realness", Setting(1, 4, 20), None)
    )
    assert claim.outcome.value == "INCONCLUSIVE"
    assert "no new word, but the waveform says hardware; is a control path not probed?" in claim.reason


def view(realness, *, ratio=None):
    decision = Decision(
        realness=realness, confidence=0.9, why="so", power_m=1.1, hardware_ratio=None, arithmetic_ratio=ratio
    )
    return WaveformView(decision=decision, compared=())


def into_declared(codes_ratio):
    """50 mV to 10 mV without 20 mV between: a new word, and arithmetic of this factor where ×2 is declared."""
    setup = read_setup(JOB)
    kept = tuple(r for r in setup.rungs if r.setting in {Setting(1, c, f) for c in (8, 10) for f in (0, 20)})
    simulation = setup.bench.file.simulation
    ranges = [one.model_dump() for one in SkerryTruth().range]
    ranges[-1]["codes_ratio"] = codes_ratio
    unit = {**simulation.parameters["unit"], "range": ranges}
    file = setup.bench.file.model_copy(update={"simulation": simulation.model_copy(update={"unit": unit})})
    return dataclasses.replace(setup, rungs=kept, bench=dataclasses.replace(setup.bench, file=file))


@pytest.mark.parametrize(
    ("codes_ratio", "with_words", "alone"),
    [(2.0, "PASS", "PASS"), (3.0, "FAIL", "FAIL"), (2.05, "INCONCLUSIVE", "FAIL"), (2.2, "FAIL", "FAIL")],
)
def test_a_mixed_step_passes_with_the_declared_factor_only(codes_ratio, with_words, alone):
    setup = into_declared(codes_ratio)
    readings = swept(setup, seed=5)
    for run, outcome in ((setup, readings), with_words), (without_words(setup, readings), alone):
        claims = {c.other: c for c in decided(*run).judgements if c.item == "realness" and c.other is not None}
        claim = claims[Setting(1, 8, 20)]
        assert claim.outcome.value == outcome, claim.reason
        assert outcome == "PASS" or claim.reason.startswith("ch1 50mV 40 % to ch1 10mV 40 %: mixed: ")


def test_a_part_that_is_measured_and_not_counted_is_as_doubtful_as_its_measurement():
    words = Found(realness=U, ratio=1.0, why="no word")
    step = WaveformTest(
        name="W1", llr=0.0, says=Says.CANNOT_TELL, precondition_met=True, why="", power_m=None, factor=1.9,
        u_factor_ratio=0.06,
    )  # fmt: skip
    comb = dataclasses.replace(step, name="W2", u_factor_ratio=0.0)
    for tests, ratio, u_ratio in (((step,), 1.9, 0.06), ((step, comb), 1.9, 0.0), ((step,), None, math.inf)):
        seen = view(M, ratio=ratio)
        compared = Compared(
            reference=Setting(1, 0, 0), setting=Setting(1, 1, 0), ratio=5.0, moved_ratio=5.0, tests=tests,
            decision=seen.decision,
        )  # fmt: skip
        found = confirm(words, dataclasses.replace(seen, compared=(compared,)))
        assert (found.realness, found.ratio, found.u_ratio) == (M, ratio or 1.0, u_ratio)


H, A, M, U, F = Realness.HARDWARE, Realness.ARITHMETIC, Realness.MIXED, Realness.UNPROVEN, Realness.FAULT


@pytest.mark.parametrize(
    ("words", "waveform", "both", "against"),
    [
        (H, H, H, False), (H, U, H, False), (H, A, F, True), (H, M, M, False),
        (A, A, A, False), (A, U, A, False), (A, H, U, True), (A, M, A, False),
        (M, H, M, False), (M, A, M, False), (F, H, F, False), (F, A, F, False),
        (U, H, H, False), (U, A, A, False), (U, M, M, False), (U, U, U, False),
    ],
)  # fmt: skip
def test_the_table_of_words_and_waveform(words, waveform, both, against):
    found = Found(realness=words, ratio=1.0, why="words")
    seen = view(waveform, ratio=1.25)
    assert confirm(found, seen).realness is both
    assert contradicts(found, seen) is against
    assert confirm(found, None) == found
    if (words, waveform) in ((U, A), (U, M), (H, M)):
        assert confirm(found, seen).ratio == 1.25


def test_bus_timing_is_claimed_and_a_slow_register_fails(good):
    claims = [claim for claim in good.result.judgements if claim.item == "bus-timing"]
    assert {claim.outcome.value for claim in claims} == {"PASS"}
    # Hand-computed from the bench file: data 200 ns before the rise, idle pulses 120 ns behind it, latch 300 ns, 1 MHz.
    assert [(claim.measured, claim.margin) for claim in claims[:2]] == [(200.0, 150.0), (120.0, 70.0)]
    assert claims[-1].measured == pytest.approx(1000.0)
    (record,) = good.result.bus
    # Two edges within a step of the adapter's clock each: a triangle of one step.
    for claim in claims:
        assert claim.expanded == pytest.approx(2.0 * record.timing.resolution_ns / 6.0**0.5)
    assert min(claim.conformance_ratio for claim in claims) > 0.999
    assert record.captures == len(good.readings)
    assert record.timing.error_bound_ratio == pytest.approx(3.0 / record.timing.sound_words)
    assert np.all(np.diff(record.frame.times_ns) >= 0)
    strict = good.setup.device.bus.model_copy(update={"timing": BusTimingLimits(hold_ns=125.0, clock_hz=5e5)})
    setup = dataclasses.replace(good.setup, device=good.setup.device.model_copy(update={"bus": strict}))
    result = decided(setup, good.readings[:6])
    failed = {claim.measured: claim for claim in result.judgements if claim.item == "bus-timing"}
    assert {claim.outcome.value for claim in failed.values()} == {"FAIL"}
    assert failed[120.0].conformance_ratio < 0.5
    assert "ch1 bus: hold 120 ns at reading " in failed[120.0].reason
    assert "allowed 125 ns or more" in failed[120.0].reason
    assert "clock-period 1000 ns" in failed[1000.0].reason
