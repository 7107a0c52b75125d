"""What README tells a stranger to type is what CI runs."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

from tests.guard.sources import ROOT

CI = ROOT / ".ci" / "run"


def two_commands(text: str) -> tuple[str, str]:
    """The two lines under the heading `Two commands`: each alone in a fenced sh block."""
    parts = re.split(r"^## Two commands\s*$", text, flags=re.MULTILINE)
    assert len(parts) == 2, "README.md: got no heading (or several) `## Two commands`; allowed: exactly one"
    section = re.split(r"^## ", parts[1], flags=re.MULTILINE)[0]
    blocks = re.findall(r"^```sh\n(.*?)^```\s*$", section, flags=re.MULTILINE | re.DOTALL)
    assert len(blocks) >= 2, f"README.md: got {len(blocks)} sh blocks under `## Two commands`; allowed: two"
    for block in blocks[:2]:
        assert block.strip().count("\n") == 0, f"README.md: got a block of several lines; allowed: one line: {block!r}"
    return blocks[0].strip(), blocks[1].strip()


def test_ci_runs_the_second_command_of_the_readme():
    _, second = two_commands((ROOT / "README.md").read_text(encoding="utf-8"))
    lines = [line.strip() for line in CI.read_text(encoding="utf-8").splitlines()]
    assert second in lines


def test_the_first_command_sweeps_the_demo():
    first, _ = two_commands((ROOT / "README.md").read_text(encoding="utf-8"))
    assert "gainladder sweep configs/jobs/demo.toml" in first


def test_ci_can_be_run():
    assert CI.stat().st_mode & 0o111, ".ci/run is not executable: chmod +x .ci/run"
    text = CI.read_text(encoding="utf-8")
    assert text.startswith("#!/usr/bin/env bash\n")
    assert "set -euo pipefail" in text
    bash = shutil.which("bash")
    if bash:
        assert subprocess.run([bash, "-n", str(CI)], check=False).returncode == 0


SHAPE = "# x\n## Two commands\nwords\n```sh\none && two\n```\nwords\n```sh\nthree\n```\n## Else\n```sh\nfour\n```\n"


def test_the_commands_are_read():
    assert two_commands(SHAPE) == ("one && two", "three")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("## Two commands", "## Commands", "no heading"),
        ("three\n", "three\nmore\n", "several lines"),
        ("```sh\nthree\n```\n", "", "got 1 sh blocks"),
    ],
)
def test_another_shape_is_refused(old, new, words):
    with pytest.raises(AssertionError, match=words):
        two_commands(SHAPE.replace(old, new))
