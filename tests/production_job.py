"""A job in production mode on the simulated demo device, for tests of golden checks and of the operator's page."""

from __future__ import annotations

from pathlib import Path

CONFIGS = Path(__file__).resolve().parents[1] / "configs"
HEAD = """\
kind = "job"
version = 1
name = "{name}"
device = "{configs}/devices/skerry-hr-4.toml"
bench = "{configs}/benches/simulated.toml"
limits = "{configs}/limits/skerry-hr-4.toml"
transport = "{transport}"

[[change]]
version = 1
date = 2026-01-01
owner = "o"
reason = "r"

[ladder]
channels = [1, 2]
{ladder}
"""
SHORT = """\
coarse = ["5V", "2V"]
fine = [0, 20]"""
"""As short as a fit of the law allows."""
PRODUCTION = """
[production]
golden_units = ["G1"]
golden_runs = 3
least_free_mb = 0
simulated = true
"""


def job_text(
    *, name: str = "line", transport: str = "in-process", ladder: str = SHORT, production: str = PRODUCTION
) -> str:
    """The text of the job, its files named by absolute paths."""
    return HEAD.format(name=name, configs=CONFIGS, transport=transport, ladder=ladder) + production
