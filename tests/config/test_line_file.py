"""The file of a place at the end of the line: what a scanner may say, and who may reach the page."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.config import LineFile, Misread, Read, ScanFormat, parse
from harness.errors import ConfigError

SHIPPED = Path(__file__).parents[2] / "configs" / "lines" / "end-of-test.toml"
TEXT = SHIPPED.read_text(encoding="utf-8")


def changed(old: str, new: str) -> LineFile:
    assert old in TEXT
    return parse(LineFile, TEXT.replace(old, new), file="line.toml")


def test_the_shipped_labels_are_taken():
    line = parse(LineFile, TEXT, file="line.toml")
    assert [line.badge.read(text) for text in ("OP1018", "OP207F")] == [Read("OP101"), Read("OP207")]
    units = ("HR100008", "HR100016", "HR100420")
    assert [line.serial.read(text) for text in units] == [Read(text) for text in units]
    assert line.is_own


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("HR100009", Misread.CHECKSUM), ("HR100080", Misread.CHECKSUM), ("HR10000", Misread.FORM),
        ("HR100008 ", Misread.FORM), ("HR100008\n", Misread.FORM), ("hr100008", Misread.FORM), ("", Misread.FORM),
        ("HR" + "1" * 100, Misread.FORM), ("--unit", Misread.FORM), ("HR10000８", Misread.FORM),
    ],
)  # fmt: skip
def test_a_text_that_is_no_serial_number_says_why(text, why):
    assert parse(LineFile, TEXT, file="line.toml").serial.read(text) is why


def test_without_groups_the_whole_text_is_kept_and_checked():
    text = "79927398713"
    assert ScanFormat(pattern="[0-9]+", checksum="mod-10", example=text).read(text) == Read(text)
    assert ScanFormat(pattern=".+", example="x").read("y") == Read("y")


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('pattern = "HR(?P<checked>[0-9]{6})"', 'pattern = "HR("', "serial", "a regular expression for pattern"),
        ('example = "HR100008"', 'example = "HR1"', "serial", "an example of the pattern"),
        ('example = "HR100008"', 'example = "HR100009"', "serial", "whose checksum mod-10 is right"),
        ('checksum = "mod-10"', 'checksum = "mod-11"', "serial.checksum", "'none', 'mod-10', 'mod-43' or 'mod-97'"),
        ('"HR(?P<checked>[0-9]{6})"\nchecksum = "mod-10"', '".*"', "(whole file)", "tell a badge from"),
        ('language = "en"', 'language = "english"', "language", "match pattern"),
        ('language = "en"', 'host = "0.0.0.0"', "(whole file)", "token_file where host is not the computer's own"),
        ('language = "en"', 'host = "station-1"', "(whole file)", "token_file where host is not the computer's own"),
        ("takt_s = 60.0", "takt_s = 0.0", "takt_s", "greater than 0"),
        ("takt_s = 60.0", "[routing]\ntimeout_s = 0.0", "routing.timeout_s", "greater than 0"),
    ],
)  # fmt: skip
def test_what_is_refused_names_its_key(old, new, key, words):
    if "[routing]" in new:
        old, new = "[badge]", f"{new}\n\n[badge]"
    with pytest.raises(ConfigError) as refused:
        changed(old, new)
    problems = {problem.key: problem.allowed for problem in refused.value.problems}
    assert words in problems[key]


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.0.1", "::1", "localhost"])
def test_the_own_computer_needs_no_token(host):
    assert changed('language = "en"', f'host = "{host}"').is_own


def test_another_host_goes_with_a_token():
    assert not changed('language = "en"', 'host = "0.0.0.0"\ntoken_file = "token.txt"').is_own
