"""Jobs of their own for faults that no ladder shows: another temperature, frequency, source resistance, or unit.

They are the shipped jobs of the reference device with some lines of their files changed: `hot` soaks the unit at 50 °C,
`low` takes records of 0.14 s with the second frequency at 21 Hz, `50 kohm` puts a resistor before the inputs.
"""

from __future__ import annotations

import functools
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from harness.app.bench_open import OpenBench
from harness.app.setup import Setup, read_setup

CONFIGS = Path(__file__).parents[2] / "configs"
Change = tuple[str, str, str]
"""File, old lines, new lines."""
DEVICE, CI, VALIDATION = "devices/skerry-hr-4.toml", "jobs/ci.toml", "jobs/validation.toml"
SIMULATED, NIGHT, METERED = "simulated", "simulated-night", "simulated-metered"
FEW = 'coarse = ["20V", "2V", "200mV", "20mV"]\nfine = [0, 20]'
SHORT: Final = ((CI, "fine = [0, 5, 10, 15, 20]", FEW),)
BESIDE: Final = (
    (VALIDATION, "fine = [0, 10, 20]", FEW),
    (VALIDATION, "channels = [1, 2, 3]", "channels = [1, 2]"),
    (VALIDATION, "repeats = 10", "# "),
    (VALIDATION, "crosstalk_hz = 2875.0", "# "),
)
LOW: Final = (
    # Records of 0.14 s: the ladder at 119 Hz, the second frequency at 21 Hz, three cycles.
    (DEVICE, "sample_rate_hz = 500.0e3", "sample_rate_hz = 28.0e3"),
    (VALIDATION, "second_frequency_hz = 99875.0", "second_frequency_hz = 21.0"),
)
THROUGH_50_KOHM: Final = (
    ("benches/simulated.toml", "source_ohm = 50.0\nload_ohm = 250.0e3", "source_ohm = 50.05e3\nload_ohm = 250.0e3"),
    ("benches/simulated.toml", "[simulation.adapter]", "[simulation.pad]\nseries_ohm = 50.0e3\n\n[simulation.adapter]"),
)


def as_it_is(opened: OpenBench) -> None:
    """Nothing is done before the sweep."""
    del opened


def hot(opened: OpenBench) -> None:
    """50 °C, until the unit has followed."""
    chamber = opened.bench.surroundings.chamber
    assert chamber is not None
    chamber.set_temperature(50.0)
    opened.bench.clock.sleep(24 * 3600.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnJob:
    """A job with lines of its files changed, and what is done before the sweep."""

    job: str
    changes: tuple[Change, ...]
    bench: str = ""
    """Name of another bench file."""
    before: Callable[[OpenBench], None] = as_it_is

    def setup(self) -> Setup:
        """As read from the changed files."""
        return setup_with(self.job, self.changes, self.bench)


OWN_JOBS: Final[dict[str, OwnJob]] = {
    "skerry-hr-4 hot": OwnJob(job=CI, changes=SHORT, bench=NIGHT, before=hot),
    "skerry-hr-4 low": OwnJob(job=VALIDATION, changes=BESIDE + LOW),
    "skerry-hr-4 50 kohm": OwnJob(job=CI, changes=SHORT + THROUGH_50_KOHM),
}
OWN: Final[dict[str, str]] = {"F36": "hot", "F49": "low", "F50": "50 kohm"}
"""By fault: which of them shows it."""


@functools.cache
def setup_with(job: str, changes: tuple[Change, ...], bench: str = "") -> Setup:
    """A job with some lines of its files changed."""
    with tempfile.TemporaryDirectory() as home:
        configs = Path(shutil.copytree(CONFIGS, Path(home) / "configs"))
        for name, old, new in changes:
            text = (configs / name).read_text("utf-8")
            assert old in text, (name, old)
            (configs / name).write_text(text.replace(old, new), "utf-8")
        where = str(configs / "benches" / f"{bench}.toml") if bench else ""
        return read_setup(str(configs / job), bench_path=where)
