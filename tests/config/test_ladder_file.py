"""Ladder files and the keys of a job that name them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from harness.config import JobFile, LadderFile, parse
from harness.errors import ConfigError

CONFIGS = Path(__file__).parents[2] / "configs"
LADDER = (CONFIGS / "ladders" / "corrie-ur-2.toml").read_text("utf-8")
JOB = (CONFIGS / "jobs" / "corrie-ur-2-short.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("model", "text", "allowed"),
    [
        (LadderFile, LADDER.replace('coarse = "20dB"', 'coarse = "0dB"'), "each range once"),
        (JobFile, JOB.replace("audit_every", "fine = [0]\naudit_every"), "not both"),
        (JobFile, re.sub("(?m)^file = .*$", "", JOB), "audit_every only with a file"),
        (JobFile, JOB + "\n[night]\n[[night.corner]]\nname = \"room\"\n", "no ladder.audit_every with [night]"),
    ],
)
def test_what_contradicts_itself_is_refused(model: type, text: str, allowed: str) -> None:
    with pytest.raises(ConfigError) as caught:
        parse(model, text, file="x.toml")
    assert allowed in str(caught.value)


def test_a_ladder_by_hand_needs_no_coverage() -> None:
    bare = LADDER[: LADDER.index("[coverage]")]
    assert parse(LadderFile, bare, file="x.toml").coverage is None
