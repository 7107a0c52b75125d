"""A job that averages: limits that say when it may stop, the record, and the judgement from it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from harness.app.averaging import averaging_plan, gain_edges
from harness.app.setup import read_setup
from harness.errors import ConfigError
from harness.store import open_store

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


@pytest.fixture
def job(tmp_path: Path) -> Any:
    """Writes the CI job of two settings with [averaging] and limits of its own."""

    def write(averaging: str, rule: str = "guarded") -> str:
        text = (CONFIGS / "jobs/ci.toml").read_text().replace('"../', f'"{CONFIGS}/')
        own = tmp_path / "limits.toml"
        limits = (CONFIGS / "limits/skerry-hr-4.toml").read_text()
        if rule != "guarded":
            limits = re.sub(r"(?m)^guard = .*$", "", limits.replace('rule = "guarded"', f'rule = "{rule}"'))
        own.write_text(limits)
        text = text.replace(f"{CONFIGS}/limits/skerry-hr-4.toml", str(own))
        path = tmp_path / "job.toml"
        path.write_text(text.replace("[ladder]", f"[averaging]\n{averaging}\n\n[ladder]", 1))
        return str(path)

    return write


def test_a_run_is_averaged_recorded_and_judged(gainladder: Any, job: Any, tmp_path: Path) -> None:
    ran = gainladder("sweep", job("most_records = 3"), "--unit", "A1", "--seed", "1")
    assert ran.code == 0, ran.err
    with open_store(str(tmp_path / "runs.sqlite"), read_only=True) as store:
        (run,) = store.runs()
        readings = list(store.readings(run.header.run_id))
    assert {reading.stopped for reading in readings if reading.final} == {"certain"}
    # A healthy unit is far from its limits: one record is enough nearly everywhere.
    assert len(readings) < 1.2 * sum(reading.final for reading in readings)


def test_edges_are_limits_and_guard_bands(job: Any) -> None:
    setup = read_setup(job("risk = 0.01"))
    edges = gain_edges(setup.limits, setup.rungs[0])
    assert edges == pytest.approx((-2.44, -1.56, 1.56, 2.44))
    plan = averaging_plan(setup.job, setup.limits)
    assert plan is not None
    assert plan.most_records == 16
    assert plan.certain(setup.rungs[0], (1.0,), 0.05)
    assert not plan.certain(setup.rungs[0], (1.5,), 0.05)
    assert plan.certain(setup.rungs[0], (1.5,) * 16, 0.05)


def test_without_the_table_one_record_is_a_reading() -> None:
    setup = read_setup(str(CONFIGS / "jobs/ci.toml"))
    assert averaging_plan(setup.job, setup.limits) is None


@pytest.mark.parametrize("rule", ["guard-band", "managed"])
def test_a_guard_band_that_is_known_only_in_the_end_is_refused(job: Any, rule: str) -> None:
    with pytest.raises(ConfigError) as caught:
        read_setup(job("", rule))
    (problem,) = caught.value.problems
    assert problem.key == "averaging"
    assert problem.got == f'limits of the gain with rule = "{rule}"'
    assert "known before the run ends" in problem.allowed
