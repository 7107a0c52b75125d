"""A short job for the plugin's tests, the claims that it makes, and what a session said of them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).resolve().parents[2]
CONFIGS = ROOT / "configs"
JOB = """\
kind = "job"
version = 1
name = "short"
device = "{configs}/devices/skerry-hr-4.toml"
bench = "{bench}"
limits = "{limits}"
transport = "in-process"
{more}
[[change]]
version = 1
date = 2026-01-01
owner = "o"
reason = "r"

[ladder]
channels = [1, 2]
coarse = ["5V", "2V", "10mV"]
fine = [0, 20]
"""
ITEMS = (
    "measurable", "gain", "residual", "fine-step", "coarse-step", "monotonic", "word", "realness", "channel-match",
    "offset", "noise", "up-down", "scale", "steady",
)  # fmt: skip
# 5 V has no lower neighbour in this ladder, and so no coarse step.
NAMES = {
    f"ch{channel}-{name}-{item}"
    for channel in (1, 2)
    for name in ("5V", "2V", "10mV")
    for item in ITEMS
    if (name, item) != ("5V", "coarse-step")
} | {f"ch{channel}-{item}" for channel in (1, 2) for item in ("parameter", "bus-timing")}
Run = Callable[..., pytest.RunResult]


def names(result: pytest.RunResult, word: str) -> set[str]:
    """Claims in the short summary under PASSED, FAILED or ERROR."""
    lines = [line for line in result.outlines if line.startswith(f"{word} ") and "[" in line]
    return {line.partition("[")[2].partition("]")[0] for line in lines}


def properties(path: Path) -> dict[str | None, str | None]:
    return {p.get("name"): p.get("value") for p in ElementTree.parse(path).getroot().iter("property")}
