"""Gain at DC: the bias of a quiet converter without dither, its absence with it, what the budget says, what fails."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from harness.judge.steady_reading import steady_gain, steady_record
from harness.values import BudgetTable, Judgement, Outcome, Reading, ReadingStatus, RunResult, Waveform
from tests.judge.run_builder import healthy
from tests.steady_bench import WHOLE, judged, read, steady_setup
from tests.studies.coverage import truths

PASS, FAIL, INVALID, DOUBT = Outcome.PASS, Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE
SAMPLES = WHOLE.device.acquisition.samples


def at_dc(result: RunResult) -> list[Judgement]:
    return [claim for claim in result.judgements if claim.item == "dc-gain"]


def off_codes(quiet_kind: str, seeds: range) -> list[tuple[float, float]]:
    """How far differences of two means are from the truth, codes, and what rounding may do to them at most."""
    setup = steady_setup(quiet=True, fines=(0,), dither=quiet_kind)
    found = []
    for seed in seeds:
        readings, true = read(setup, seed=seed), truths(setup, seed)
        for above, below in zip(readings[-4::2], readings[-3::2], strict=True):
            pair = [steady_record(reading, setup.device) for reading in (above, below)]
            assert not any(isinstance(one, str) for one in pair)
            gain = steady_gain(*pair, input_ratio=setup.input_ratio)  # type: ignore[arg-type]
            assert not isinstance(gain, str)
            volts = 2.0 * gain.level_v * setup.input_ratio
            found.append(((gain.gain_codes_per_v - true[above.setting]) * volts, 2.0 * gain.bias_code))
    return found


def test_rounding_shows_without_dither_and_not_with_it() -> None:
    plain, dithered = off_codes("never", range(1, 7)), off_codes("quiet", range(1, 7))
    # Each mean is up to half a code off, the difference of two up to one code; over eight positions an eighth of it,
    # and a little more for the steps of the source and the gain that the dither's width rests on.
    assert {limit for _, limit in plain} == {1.0}
    assert max(abs(off) for off, _ in plain) > 0.5
    assert np.std([off for off, _ in plain]) == pytest.approx(1.0 / math.sqrt(6.0), rel=0.4)
    assert all(0.125 < limit < 0.2 for _, limit in dithered)
    for found in (plain, dithered):
        assert all(abs(off) <= limit + 0.02 for off, limit in found)


def quantisation(result: RunResult) -> dict[str, float]:
    """Of each printed budget at DC."""
    tables: list[BudgetTable] = [table for table in result.budgets if table.group.startswith("at DC")]
    return {
        table.group: next(row.standard_percent for row in table.rows if row.name == "quantisation") for table in tables
    }


def test_the_budget_says_what_rounding_leaves() -> None:
    # 0.75 of 2048 codes at each sign; a difference of two rectangular errors of half width b has the u of b·√2/√3.
    unit = 100.0 / (2.0 * 0.75 * 2048.0) * math.sqrt(2.0 / 3.0)
    plain = steady_setup(quiet=True, fines=(0,), dither="never")
    result = judged(plain, read(plain))
    assert quantisation(result) == {"at DC, two steady levels (low, high)": pytest.approx(0.5 * unit, rel=0.01)}
    (flag,) = [flag for flag in result.flags if flag.name == "quiet-level"]
    assert flag.settings == 2
    assert "ch1 low +0 dB at DC: at most 0.14 code steps of noise, below 0.3" in flag.example
    mended = steady_setup(quiet=True, fines=(0,))
    result = judged(mended, read(mended))
    (group,) = quantisation(result)
    assert group == "at DC, two dithered levels (low, high)"
    assert unit / 16 < quantisation(result)[group] < 1.4 * unit / 16
    assert not [flag for flag in result.flags if flag.name == "quiet-level"]
    # A loud record needs none: the noise leaves a thousandth of a code or so.
    loud = steady_setup(fines=(56,))
    result = judged(loud, read(loud))
    assert max(quantisation(result).values()) < 0.1 * unit
    assert [claim.outcome for claim in at_dc(result)] == [PASS] * 2


def test_the_uncertainty_at_dc_is_that_of_the_level_above_all() -> None:
    setup = steady_setup(fines=(0, 56))
    claims = at_dc(judged(setup, read(setup)))
    assert [claim.outcome for claim in claims] == [PASS] * 4
    # Source 0.3 and 0.1 % at 2.6 of their standard deviations, repeatability 0.02 %, compression 0.0375 %/√3.
    parts = (0.3 / 2.6, 0.1 / 2.6, 0.02, 4 / 3 * 0.05 * 0.75**2 / math.sqrt(3.0), 2.0 * 50e-4 / math.sqrt(3.0))
    for claim in claims:
        assert claim.expanded == pytest.approx(2.0 * math.hypot(*parts), rel=0.01)


def exact(rung, *, gain_ratio: float = 1.0, offset_code: float = 7.0, **changes: object) -> Reading:
    """A reading with the codes of its level, all alike."""
    volts = rung.steady.level_v * WHOLE.input_ratio
    code = round(volts * rung.prediction.gain_codes_per_v * gain_ratio + offset_code)
    wave = Waveform(
        codes=np.full(SAMPLES, code, dtype=np.int16), sample_rate_hz=500e3, scale_v_per_code=1e-3, sequence=1
    )
    made = dataclasses.replace(
        healthy(rung), purpose=rung.purpose, waveform=wave, capture=None, frequency_hz=0.0,
        steady_v=(rung.steady.level_v,),
    )
    return dataclasses.replace(made, **changes)


SETUP = steady_setup(fines=(0,))


def claims_of(*extras: Reading) -> list[Judgement]:
    return at_dc(judged(SETUP, [*(healthy(rung) for rung in SETUP.rungs), *extras]))


@pytest.mark.parametrize(("gain_ratio", "outcome"), [(1.0, PASS), (0.98, DOUBT), (0.9, FAIL), (1.1, FAIL)])
def test_the_offset_cancels_and_a_wrong_gain_fails(gain_ratio: float, outcome: Outcome) -> None:
    first, *_ = claims_of(*(exact(rung, gain_ratio=gain_ratio) for rung in SETUP.extras))
    assert first.measured == pytest.approx(100.0 * math.log(gain_ratio), abs=0.05)
    assert first.outcome is outcome
    if outcome is FAIL:
        assert "ch1 low +0 dB, ±2.756 V steady: dc-gain off by" in first.reason


def test_a_capacitor_in_the_path_fails_and_crossed_levels_do_too() -> None:
    for ratio, said in ((0.0, "0 codes/V where 557.4 are predicted"), (-1.0, "-557 codes/V")):
        first, second = claims_of(*(exact(rung, gain_ratio=ratio) for rung in SETUP.extras))
        assert (first.outcome, second.outcome) == (FAIL, FAIL)
        assert said in first.reason
        assert "a steady level does not pass, or its sign is turned" in first.reason


def test_a_missing_sign_is_invalid() -> None:
    above = exact(SETUP.extras[0])
    first, second = claims_of(above)
    assert (first.outcome, second.outcome) == (INVALID, INVALID)
    assert first.reason == "dc-gain not measured: ch1 low +0 dB: not read"
    below = exact(SETUP.extras[1], status=ReadingStatus.INVALID, reason="ReadTimeout: no answer")
    assert claims_of(above, below)[0].reason.endswith("ReadTimeout: no answer")


def test_records_that_cannot_be_told_apart_say_why() -> None:
    above, below = (exact(rung) for rung in SETUP.extras[:2])
    railed = dataclasses.replace(above.waveform, codes=np.full(SAMPLES, 2047, dtype=np.int16))
    assert "clipped" in str(steady_record(dataclasses.replace(above, waveform=railed), SETUP.device))
    assert steady_record(dataclasses.replace(above, steady_v=()), SETUP.device) == "no plain record at a steady level"
    odd = dataclasses.replace(above, steady_v=(1.0,) * 7)
    assert str(steady_record(odd, SETUP.device)).startswith("fit-failed: steady level: samples of shape (4000,)")
    pair = [steady_record(reading, SETUP.device) for reading in (below, above)]
    said = steady_gain(*pair, input_ratio=1.0)  # type: ignore[arg-type]
    assert said == "the levels read back as -2.756 and 2.756 V; allowed is the first above the second"


def test_a_job_without_steady_levels_names_what_it_does_not_measure() -> None:
    result = judged(dataclasses.replace(SETUP, extras=()), [healthy(rung) for rung in SETUP.rungs])
    assert "dc-gain" in result.unmeasured
    assert at_dc(result) == []


def test_steady_levels_may_have_an_accuracy_of_their_own() -> None:
    file = SETUP.bench.file
    assert file.uncertainty is not None
    tables = file.uncertainty.model_dump(exclude_none=True)
    stated = file.uncertainty.model_validate({**tables, "steady": {"reading": {"percent": 0.01}, "absolute_v": 1e-3}})
    bench = dataclasses.replace(SETUP.bench, file=file.model_copy(update={"uncertainty": stated}))
    setup = dataclasses.replace(SETUP, bench=bench)
    readings = [*(healthy(rung) for rung in SETUP.rungs), *(exact(rung) for rung in SETUP.extras)]
    result = judged(setup, readings)
    (table,) = [table for table in result.budgets if table.group.startswith("at DC")]
    assert table.notes == ()
    assert "source, steady, absolute" in {row.name for row in table.rows}
    assert at_dc(result)[0].expanded < 0.1
    (plain,) = [table for table in judged(SETUP, readings).budgets if table.group.startswith("at DC")]
    assert plain.notes == ("of the steady levels nothing is stated: as accurate as the sines",)
