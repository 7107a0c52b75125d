"""Faults that the short ladder cannot show, each on the job or bench that shows it: outcome, and who is named."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from harness.app.bench_open import OpenBench, open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup
from harness.errors import StationFault
from harness.sweep import sweep
from harness.values import Outcome
from tests.faults.own_jobs import (
    BESIDE,
    CI,
    LOW,
    METERED,
    NIGHT,
    SHORT,
    THROUGH_50_KOHM,
    VALIDATION,
    Change,
    as_it_is,
    hot,
    setup_with,
)
from tests.faults.trial import Kept


def run(setup: Setup, *faults: str, before: Callable[[OpenBench], None] = as_it_is) -> tuple[str, set[str], set[str]]:
    """Outcome, who is named or not told apart, and which claims fail on channel 2."""
    kept, ended = Kept(), ""
    with open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=faults) as opened:
        before(opened)
        try:
            sweep(opened.bench, plan_of(setup), opened.recorder(kept), progress=lambda done, reading: None)
        except StationFault:
            ended = "LOCKED"
    judge = judge_of(setup, waveforms=False)
    for reading in kept.readings:
        judge.take(reading)
    result = judge.result(kept.events)
    blind = [line for line in result.not_exercised if not line.endswith("two temperatures")]
    assert not any(fault.split(":")[0] in line for fault in faults for line in blind)
    named = {name for one in result.candidates for name in (one.fault, *one.ambiguous)}
    failing = {c.item for c in result.judgements if c.outcome is Outcome.FAIL and c.setting and c.setting.channel == 2}
    return ended or str(result.verdict), named, failing


@pytest.mark.parametrize(
    ("job", "changes", "bench", "before", "fault", "outcome", "named", "claim"),
    [
        # 27 K at -3300 ppm/K; which of the causes of a constant factor it is, a second temperature tells.
        (CI, SHORT, NIGHT, hot, "temperature-compensation-missing:2=-3300", "FAIL",
         {"reference-wrong", "temperature-compensation-missing"}, "gain"),
        (VALIDATION, BESIDE, "", as_it_is, "leaky-clamp:2=0.6", "FAIL", {"leaky-clamp"}, "polarity"),
        (VALIDATION, BESIDE + LOW, "", as_it_is, "coupling-capacitor-wrong:2=10", "FAIL",
         {"coupling-capacitor-wrong"}, "second-frequency"),
        (VALIDATION, BESIDE + LOW, "", as_it_is, "coupling-capacitor-wrong:2=2.85", "PASS", set(), ""),
        # All inputs hang on the resistor: one that is open moves every channel, so station and unit are both named.
        (CI, SHORT + THROUGH_50_KOHM, "", as_it_is, "input-resistor-wrong:2=1e6", "FAIL",
         {"source-load-mis-set", "load-resistor-wrong", "input-resistor-wrong"}, "gain"),
        (CI, SHORT + THROUGH_50_KOHM, "", as_it_is, "input-resistor-wrong:2=5", "PASS", set(), ""),
        (CI, SHORT, METERED, as_it_is, "reference-meter-drifted=5", "LOCKED",
         {"reference-meter-drifted"}, ""),
    ],
    ids=["F36", "F48", "F49", "F49 below", "F50", "F50 below", "T11"],
)  # fmt: skip
def test_a_fault_is_found_where_a_job_looks(
    job: str, changes: tuple[Change, ...], bench: str, before: Callable[[OpenBench], None], fault: str, outcome: str,
    named: set[str], claim: str,
) -> None:  # fmt: skip
    ended, found, failing = run(setup_with(job, changes, bench), fault, before=before)
    assert ended == outcome
    assert named <= found
    assert (claim in failing) == bool(claim)


@pytest.mark.parametrize(
    ("job", "changes", "bench", "before"),
    [
        (CI, SHORT, NIGHT, hot),
        (VALIDATION, BESIDE + LOW, "", as_it_is),
        (CI, SHORT + THROUGH_50_KOHM, "", as_it_is),
    ],
    ids=["hot", "low frequency", "through 50 kohm"],
)
def test_a_good_unit_passes_these_jobs(
    job: str, changes: tuple[Change, ...], bench: str, before: Callable[[OpenBench], None]
) -> None:
    assert run(setup_with(job, changes, bench), before=before) == ("PASS", set(), set())
