"""A job in production mode, as short as a fit allows."""

from __future__ import annotations

from pathlib import Path

import pytest

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
JOB = """\
kind = "job"
version = 1
name = "line"
device = "{configs}/devices/skerry-hr-4.toml"
bench = "{configs}/benches/simulated.toml"
limits = "{configs}/limits/skerry-hr-4.toml"
transport = "in-process"

[[change]]
version = 1
date = 2026-01-01
owner = "o"
reason = "r"

[ladder]
channels = [1, 2]
coarse = ["5V", "2V"]
fine = [0, 20]

[production]
golden_units = ["G1"]
golden_runs = 3
least_free_mb = 0
simulated = {simulated}
"""


@pytest.fixture
def line_job(tmp_path):
    """Path of the job; whether it allows a simulated bench is asked for."""

    def write(*, simulated=True):
        path = tmp_path / "line.toml"
        path.write_text(JOB.format(configs=CONFIGS, simulated=str(simulated).lower()))
        return str(path)

    return write
