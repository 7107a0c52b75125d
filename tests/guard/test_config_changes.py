"""A limit or a law that changed has a new version, and a reason beside it."""

from __future__ import annotations

import pytest

from tests.guard.config_hashes import (
    LIST,
    Entry,
    entry_of,
    history_faults,
    list_faults,
    read_configs,
    read_list,
    write_list,
)


def test_files_and_their_list_of_changes_agree():
    assert [fault for name, data in read_configs().items() for fault in history_faults(name, data)] == []


def test_a_changed_file_has_a_new_version():
    assert list_faults(read_configs(), read_list(LIST.read_text(encoding="utf-8"))) == []


ONE = b"version = 2\n[[change]]\nversion = 1\n[[change]]\nversion = 2\n"


def test_an_unchanged_file_passes():
    known = {"a.toml": entry_of(ONE)}
    assert list_faults({"a.toml": ONE}, known) == []
    assert read_list(write_list(known)) == known


@pytest.mark.parametrize(
    ("data", "known", "words"),
    [
        (
            ONE + b"x = 1\n",
            {"a.toml": entry_of(ONE)},
            "content changed, but the version is 2 (was 2): raise `version`",
        ),
        (ONE, {"a.toml": Entry(3, "")}, "the content changed, but the version is 2 (was 3)"),
        (ONE, {"a.toml": Entry(1, "")}, "version 2 is new: run"),
        (ONE, {}, "not in the list: run"),
        (ONE, {"a.toml": entry_of(ONE), "b.toml": Entry(1, "")}, "b.toml: in the list, but gone: run"),
    ],
)
def test_a_breach_is_seen(data, known, words):
    (fault,) = list_faults({"a.toml": data}, known)
    assert words in fault


@pytest.mark.parametrize("data", [ONE.replace(b"n = 2\n[", b"n = 3\n[", 1), b"version = 1\n", ONE[:-2] + b"1\n"])
def test_a_wrong_history_is_seen(data):
    (fault,) = history_faults("a.toml", data)
    assert "allowed: one [[change]] for each version from 1 up to the file's" in fault
