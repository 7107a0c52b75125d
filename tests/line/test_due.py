"""Routing: due by a file, by a command, by the record."""

from __future__ import annotations

import sys

import pytest

from harness.config import LineFile, parse
from harness.errors import UsageError
from harness.line.due import not_due
from harness.store import open_store
from tests.line.conftest import OTHER, THIRD, UNIT, write_place

FILE = f"""serial,job,previous,more
{UNIT},line,passed,x
{OTHER},line,failed,
{THIRD},final,passed,
HR100032,line,,
"""


@pytest.fixture
def asked(tmp_path):
    """Why a unit is not due, by a routing table; empty where it is."""

    def ask(routing, unit=UNIT):
        path = write_place(tmp_path, routing=routing)
        line = parse(LineFile, (tmp_path / "line.toml").read_text(), file=path)
        with open_store(str(tmp_path / "line.sqlite")) as store:
            found = not_due(line, path, unit, "line", store)
        return ("", "") if found is None else (found.why, found.detail)

    ask.folder = tmp_path
    return ask


def test_without_file_and_command_each_unit_is_due(asked):
    assert asked("") == ("", "")


@pytest.mark.parametrize(
    ("unit", "why", "words"),
    [
        (UNIT, "", ""), (OTHER, "step-before", "is failed"), (THIRD, "other-job", "due for final, here is line"),
        ("HR100032", "step-before", "is empty"), ("HR100040", "unknown-unit", "has no row of HR100040"),
    ],
)  # fmt: skip
def test_a_file_says_which_job_is_due(asked, unit, why, words):
    (asked.folder / "route.csv").write_text(FILE)
    said = asked('file = "route.csv"', unit)
    assert said[0] == why
    assert words in said[1]


def test_a_file_is_read_anew_for_each_unit(asked):
    (asked.folder / "route.csv").write_text("serial,job,previous\n")
    assert asked('file = "route.csv"')[0] == "unknown-unit"
    (asked.folder / "route.csv").write_text(FILE)
    assert asked('file = "route.csv"')[0] == ""


@pytest.mark.parametrize(
    ("text", "words"),
    [(None, "cannot be read"), ("serial;job;previous\n", "no column serial, job, previous"), ("", "no column")],
)
def test_a_file_that_is_none_is_an_error(asked, text, words):
    if text is not None:
        (asked.folder / "route.csv").write_text(text)
    with pytest.raises(UsageError, match=words) as refused:
        asked('file = "route.csv"')
    assert "allowed: CSV with the columns serial, job, previous" in str(refused.value)


def command(code: str, timeout_s: float = 20.0) -> str:
    return f"command = ['{sys.executable}', '-S', '-c', '''{code}''']\ntimeout_s = {timeout_s}"


@pytest.mark.parametrize(
    ("code", "why", "detail"),
    [
        ('import sys; sys.exit(sys.argv[1:] != ["HR100008", "line"])', "", ""),
        ('print("paint first"); print("more"); raise SystemExit(3)', "not-due", "paint first"),
        ("raise SystemExit(3)", "not-due", "exit code 3"),
    ],
)
def test_a_command_says_whether_a_unit_is_due(asked, code, why, detail):
    assert asked(command(code)) == (why, detail)


def test_a_command_that_does_not_answer_releases_nothing(asked):
    why, detail = asked(command("import time; time.sleep(60)", 0.05))
    assert why == "routing-silent"
    assert "no answer within 0.05 s" in detail
    why, detail = asked('command = ["no-such-program-of-ours"]')
    assert (why, detail) == (
        "routing-silent",
        "no-such-program-of-ours: cannot be started (No such file or directory)",
    )
