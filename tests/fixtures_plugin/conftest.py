"""Runs the acceptance suite by a pytest of its own, on a short job."""

from __future__ import annotations

import os

import numpy.fft  # noqa: F401 - the judge imports it when it needs it; a session inside this process would load it
import pytest
import scipy.special
import scipy.stats  # noqa: F401

from tests.fixtures_plugin.short_job import CONFIGS, JOB, ROOT, Run


@pytest.fixture
def run(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs the acceptance suite on a short job; keys replace parts of its file."""
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH")))))
    for name in [name for name in os.environ if name.startswith("PYTEST_XDIST")] + ["PYTEST_ADDOPTS"]:
        monkeypatch.delenv(name, raising=False)
    pytester.makepyfile(test_acceptance=(ROOT / "tests/bench/test_acceptance.py").read_text())

    def acceptance(*options: str, alone: bool = False, **changes: str) -> pytest.RunResult:
        parts = {
            "configs": str(CONFIGS), "bench": f"{CONFIGS}/benches/simulated.toml",
            "limits": f"{CONFIGS}/limits/skerry-hr-4.toml", "more": "", **changes,
        }  # fmt: skip
        job = pytester.path / "job.toml"
        job.write_text(JOB.format(**parts))
        runs = pytester.runpytest_subprocess if alone else pytester.runpytest_inprocess
        return runs("-p", "no:cacheprovider", "-rA", "--job", str(job), *options)

    return acceptance


@pytest.fixture
def no_bench(monkeypatch: pytest.MonkeyPatch) -> None:
    """Opening a bench is an error."""

    def boom(*places: object, **keys: object) -> None:
        raise SystemError("a bench was opened")

    monkeypatch.setattr("harness.app.suite.live.open_bench", boom)
