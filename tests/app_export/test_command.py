"""A program called for a unit: no shell, an end to its time, and what it says when it fails."""

from __future__ import annotations

import os
import sys
import time

import pytest

from harness.app.export.command import call, words_of

VALUES = {"unit": "A1; rm -rf {json}", "json": "a b.json", "verdict": "PASS"}


def test_what_is_filled_in_is_not_looked_at_again():
    words = words_of(["x", "--u={unit}", "{json}", "{none}", "{", "a{verdict}b{verdict}"], VALUES)
    assert words == ["x", "--u=A1; rm -rf {json}", "a b.json", "{none}", "{", "aPASSbPASS"]


def test_words_reach_the_program_as_they_are(tmp_path):
    target = tmp_path / "said"
    script = "import sys; open(sys.argv[1], 'w').write('|'.join(sys.argv[2:]))"
    assert call([sys.executable, "-c", script, str(target), "$HOME", "a b", ";"], timeout_s=20.0) == ""
    assert target.read_text() == "$HOME|a b|;"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["no-such-program-here"], "no-such-program-here: cannot be started: No such file or directory"),
        (["a\0b"], "a\0b: cannot be started: embedded null byte"),
        (["/bin/sh", "-c", "echo the  plant; echo is away >&2; exit 7"], "/bin/sh: exit code 7: the plant is away"),
        (["/bin/sh", "-c", "exit 1"], "/bin/sh: exit code 1"),
        (["/bin/sh", "-c", "kill -9 $$"], "/bin/sh: exit code -9"),
    ],
)
def test_a_failure_is_told(words, said):
    assert call(words, timeout_s=20.0) == said


def test_only_the_last_words_are_kept():
    assert len(call(["/bin/sh", "-c", "yes | head -c 100000; exit 1"], timeout_s=20.0)) < 350


def test_a_program_that_hangs_is_ended_with_what_it_has_started(tmp_path):
    mark = tmp_path / "pid"
    began = time.monotonic()
    # The grandchild keeps the output open: a pipe would be waited for.
    said = call(["/bin/sh", "-c", f"sleep 60 & echo $! > {mark}; echo started; wait"], timeout_s=0.3)
    assert said == "/bin/sh: not ready after 0.3 s, ended: started"
    assert time.monotonic() - began < 20.0
    with pytest.raises(ProcessLookupError):
        _gone(int(mark.read_text()))


def _gone(pid):
    # A killed process without a parent is there until its adopter has looked.
    for _ in range(10000):
        os.kill(pid, 0)
        if _is_zombie(pid):
            raise ProcessLookupError


def _is_zombie(pid):
    with open(f"/proc/{pid}/stat") as file:
        return file.read().rpartition(")")[2].split()[0] == "Z"
