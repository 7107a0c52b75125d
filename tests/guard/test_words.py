"""No file names a folder of somebody's machine, and no work is left to a note."""

from __future__ import annotations

import re

import pytest

from tests.guard.sources import ROOT, tracked

# In pieces, so that this file does not find itself.
FORBIDDEN = re.compile(
    "|".join(
        [
            r"(?<![\w.])/" + r"(?:work|root|home|Users)/\w",
            r"/tmp/" + r"v/",
            r"\b[A-Z]:\\" + r"Users",
            r"\bTO" + r"DO\b",
            r"\bFIX" + r"ME\b",
            r"\bX" + r"XX\b",
        ]
    )
)


def test_no_file_holds_a_forbidden_word():
    names = tracked()
    if names is None:
        pytest.skip("not a git checkout: which files belong to the project is not known")
    found = []
    for name in names:
        data = (ROOT / name).read_bytes()
        if b"\0" in data:
            continue
        for number, line in enumerate(data.decode("utf-8", "replace").splitlines(), 1):
            hit = FORBIDDEN.search(line)
            if hit:
                found.append(f"{name}:{number}: {hit[0]}")
    assert found == []


@pytest.mark.parametrize("text", ["see /ho" + "me/x/y", "TO" + "DO: later", "'/wo" + "rk/a'"])
def test_a_forbidden_word_is_seen(text):
    assert FORBIDDEN.search(text)


@pytest.mark.parametrize("text", ["https://example.org/home/x", "/dev/serial/by-id", "harness/work/x", "a/root/b"])
def test_other_words_pass(text):
    assert not FORBIDDEN.search(text)
