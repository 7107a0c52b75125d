"""The claim that the converter gives every code, over a whole ladder of closed-form sines."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest

from harness.values import Direction, Judgement, Outcome, Reading, RunResult
from tests.judge.run_builder import FULL, healthy, judged

SETUP = dataclasses.replace(
    FULL, rungs=tuple(r for r in FULL.rungs if r.setting.channel == 1 and r.direction is Direction.UP)
)
Converter = Callable[[np.ndarray], np.ndarray]


def through(reading: Reading, converter: Converter) -> Reading:
    assert reading.waveform is not None
    codes = converter(reading.waveform.codes.astype(np.int64)).astype(np.int16)
    return dataclasses.replace(reading, waveform=dataclasses.replace(reading.waveform, codes=codes))


def run(converter: Converter, *, settings: int = 1000) -> RunResult:
    setup = dataclasses.replace(SETUP, rungs=SETUP.rungs[:settings])
    return judged(setup, [through(healthy(rung), converter) for rung in setup.rungs])


def claims(result: RunResult) -> list[Judgement]:
    return [claim for claim in result.judgements if claim.item == "missing-codes"]


def without(*missing: int) -> Converter:
    return lambda codes: codes + np.isin(codes, missing)


def test_a_converter_that_gives_every_code_passes_though_a_range_doubles_its_codes() -> None:
    result = run(lambda codes: codes)
    (claim,) = claims(result)
    assert (claim.outcome, claim.measured, claim.unit, claim.expanded) == (Outcome.PASS, 0.0, "codes", 0.0)
    assert "missing-codes" not in result.unmeasured
    assert not any("F53" in line for line in result.not_exercised)
    # 50 ohm across 1 Mohm: nobody feels the input's own resistor.
    assert any("F50 input-resistor-wrong" in line for line in result.not_exercised)


@pytest.mark.parametrize(
    ("converter", "measured", "said", "first"),
    [
        (without(-700), 1, "never -700: missing-codes 1 codes, allowed +0 codes", "converter-missing-codes"),
        (
            without(*range(-700, 500, 100)), 12,
            "never -700, -600, -500, -400, -300, -200, -100, 0 and 4 more: missing-codes 12 codes, allowed +0 codes",
            "converter-missing-codes",
        ),
    ],
)  # fmt: skip
def test_missing_codes_fail_and_are_named(converter: Converter, measured: int, said: str, first: str) -> None:
    result = run(converter)
    (claim,) = claims(result)
    assert (claim.outcome, claim.measured) == (Outcome.FAIL, measured)
    assert claim.reason.startswith("ch1 converter, ")
    assert claim.reason.endswith(f" codes looked at, {said}")
    assert result.verdict is Outcome.FAIL
    assert result.candidates[0].fault == first


def test_tied_bits_need_few_settings_and_are_no_arithmetic() -> None:
    result = run(lambda codes: codes & ~1, settings=8)
    (claim,) = claims(result)
    assert claim.outcome is Outcome.FAIL
    assert ", only every 2. comes: missing-codes " in claim.reason
    assert result.candidates[0].fault == "converter-bits-lost"
    assert Outcome.FAIL not in {c.outcome for c in result.judgements if c.item == "realness"}


def test_too_few_settings_say_nothing() -> None:
    result = run(without(-700), settings=10)
    assert claims(result) == []
    assert "missing-codes" in result.unmeasured
    assert any("F53 converter-missing-codes" in line for line in result.not_exercised)
