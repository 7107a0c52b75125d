"""Faults that the short ladder cannot show, each on the job or bench that shows it: outcome, and who is named."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from harness.app.bench_open import OpenBench, open_bench
from harness.app.run import judge_of, plan_of
from harness.app.setup import Setup, read_setup
from harness.errors import StationFault
from harness.sweep import sweep
from harness.values import Outcome
from tests.faults.trial import CONFIGS, Kept

Change = tuple[str, str, str]
DEVICE, CI, VALIDATION = "devices/skerry-hr-4.toml", "jobs/ci.toml", "jobs/validation.toml"
SIMULATED = "benches/simulated.toml"
FEW = 'coarse = ["20V", "2V", "200mV", "20mV"]\nfine = [0, 20]'
SHORT = ((CI, "fine = [0, 5, 10, 15, 20]", FEW),)
BESIDE = (
    (VALIDATION, "fine = [0, 10, 20]", FEW),
    (VALIDATION, "channels = [1, 2, 3]", "channels = [1, 2]"),
    (VALIDATION, "repeats = 10", "# "),
    (VALIDATION, "crosstalk_hz = 2875.0", "# "),
)
LOW = (
    # Records of 0.14 s: the ladder at 119 Hz, the second frequency at 21 Hz, three cycles.
    (DEVICE, "sample_rate_hz = 500.0e3", "sample_rate_hz = 28.0e3"),
    (VALIDATION, "second_frequency_hz = 99875.0", "second_frequency_hz = 21.0"),
)
THROUGH_50_KOHM = (
    (SIMULATED, "source_ohm = 50.0\nload_ohm = 250.0e3", "source_ohm = 50.05e3\nload_ohm = 250.0e3"),
    (SIMULATED, "[simulation.adapter]", "[simulation.pad]\nseries_ohm = 50.0e3\n\n[simulation.adapter]"),
)


@cache
def setup_with(job: str, changes: tuple[Change, ...], bench: str = "") -> Setup:
    """A job with some lines of its files changed."""
    with tempfile.TemporaryDirectory() as home:
        configs = Path(shutil.copytree(CONFIGS, Path(home) / "configs"))
        for name, old, new in changes:
            text = (configs / name).read_text("utf-8")
            assert old in text, (name, old)
            (configs / name).write_text(text.replace(old, new), "utf-8")
        return read_setup(str(configs / job), bench_path=str(configs / bench) if bench else "")


def as_it_is(opened: OpenBench) -> None:
    del opened


def hot(opened: OpenBench) -> None:
    """50 °C, until the unit has followed."""
    chamber = opened.bench.surroundings.chamber
    assert chamber is not None
    chamber.set_temperature(50.0)
    opened.bench.clock.sleep(24 * 3600.0)


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
    named = {name for one in result.candidates for name in (one.fault, *one.ambiguous)}
    failing = {c.item for c in result.judgements if c.outcome is Outcome.FAIL and c.setting and c.setting.channel == 2}
    return ended or str(result.verdict), named, failing


@pytest.mark.parametrize(
    ("job", "changes", "bench", "before", "fault", "outcome", "named", "claim"),
    [
        # 27 K at -3300 ppm/K; which of the causes of a constant factor it is, a second temperature tells.
        (CI, SHORT, "benches/simulated-night.toml", hot, "temperature-compensation-missing:2=-3300", "FAIL",
         {"reference-wrong"}, "gain"),
        (VALIDATION, BESIDE, "", as_it_is, "leaky-clamp:2=2.0", "FAIL", {"leaky-clamp"}, "two-level"),
        (VALIDATION, BESIDE + LOW, "", as_it_is, "coupling-capacitor-wrong:2=10", "FAIL",
         {"coupling-capacitor-wrong"}, "second-frequency"),
        (VALIDATION, BESIDE + LOW, "", as_it_is, "coupling-capacitor-wrong:2=2.85", "PASS", set(), ""),
        # All inputs hang on the resistor: one that is open moves every channel, so station and unit are both named.
        (CI, SHORT + THROUGH_50_KOHM, "", as_it_is, "input-resistor-wrong:2=1e6", "FAIL",
         {"source-load-mis-set", "load-resistor-wrong"}, "gain"),
        (CI, SHORT + THROUGH_50_KOHM, "", as_it_is, "input-resistor-wrong:2=5", "PASS", set(), ""),
        (CI, SHORT, "benches/simulated-metered.toml", as_it_is, "reference-meter-drifted=5", "LOCKED",
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
        (CI, SHORT, "benches/simulated-night.toml", hot),
        (VALIDATION, BESIDE + LOW, "", as_it_is),
        (CI, SHORT + THROUGH_50_KOHM, "", as_it_is),
    ],
    ids=["hot", "low frequency", "through 50 kohm"],
)
def test_a_good_unit_passes_these_jobs(
    job: str, changes: tuple[Change, ...], bench: str, before: Callable[[OpenBench], None]
) -> None:
    assert run(setup_with(job, changes, bench), before=before) == ("PASS", set(), set())
