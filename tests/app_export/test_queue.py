"""Results handed on: files and command for a unit, what fails waits where it can be seen, the verdict stands."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from harness.app.export.following import follow
from harness.app.export.queue import waiting
from harness.config import Export, parse
from harness.errors import ConfigError
from harness.report.csvw_file import _datatype
from harness.store import add_note, noted, open_store
from harness.values import EXPORT, export_of

ROOT = Path(__file__).parents[2]
HEAD = (ROOT / "configs" / "jobs" / "ci.toml").read_text().replace('"../', f'"{ROOT}/configs/')
LADDER = '[ladder]\nchannels = [1, 2]\ncoarse = ["5V", "2V"]\nfine = [0, 20]\n'
TABLE = """
[export]
folder = "{folder}"
files = ["csv", "json", "junit"]
command = ["/bin/sh", "-c", 'test -e "$0" && echo "$@" >> "$0" || {{ echo away; exit 3; }}', "{mark}", "{{unit}}",
    "{{verdict}}", "{{csv}}"]
timeout_s = 20
"""


@pytest.fixture
def place(tmp_path):
    """Path of a short job with [export], and of the file without which its command fails."""
    job, mark, folder = tmp_path / "job.toml", tmp_path / "plant", tmp_path / "results"
    job.write_text(HEAD.split("[ladder]")[0] + TABLE.format(folder=folder, mark=mark) + LADDER)
    return job, mark, folder


def test_a_unit_is_handed_on_and_one_that_cannot_be_waits(gainladder, place, tmp_path):
    job, mark, folder = place
    store = ("--store", str(tmp_path / "s.sqlite"))
    failed = gainladder("sweep", str(job), "--unit", "A/1", "--fault", "relay-not-picking:2", *store)
    # The verdict is the unit's, whatever the plant says.
    assert failed.code == 1
    assert "not handed on: command: /bin/sh: exit code 3: away; `gainladder export` tries again" in failed.err
    names = sorted(path.name.partition(".")[2] for path in folder.iterdir())
    assert names == ["csv", "csv-metadata.json", "json", "xml"]
    listed = gainladder("export", "--list", *store)
    assert listed.code == 3
    assert "command  1 tries" in listed.out
    assert listed.out.endswith("0 units handed on, 1 waiting\n")
    assert "results of 1 runs wait to be handed on" in gainladder("runs", *store).err
    again = gainladder("export", "--json", *store)
    assert again.code == 3
    assert (again.json["waiting"][0]["tries"], again.json["waiting"][0]["left"]) == (2, ["command"])
    mark.touch()
    assert gainladder("export", *store).out == "1 units handed on, 0 waiting\n"
    assert gainladder("export", *store).out == "0 units handed on, 0 waiting\n"
    (table,) = folder.glob("*.csv")
    assert mark.read_text() == f"A/1 FAIL {table}\n"
    with open_store(store[1]) as opened:
        states = [export_of(event) for _, event in noted(opened, EXPORT)]
        assert [state.left for state in states] == [("csv", "json", "junit", "command"), ("command",), ("command",), ()]
        assert opened.check().faults == ()
        _another_job(gainladder, job, opened, store, tmp_path)
    _described(table)


def _another_job(gainladder, job, opened, store, tmp_path):
    """A death between the two lines leaves the first; a folder that cannot be made; a job that says another one."""
    (run_id, line), *_ = noted(opened, EXPORT)
    add_note(opened, run_id, EXPORT, "[]", _Clock())
    assert waiting(opened) == ()
    add_note(opened, run_id, EXPORT, line.text, _Clock())
    assert "never tried: the process ended before" in str(waiting(opened)[0])
    bad = tmp_path / "bad.toml"
    (tmp_path / "file").touch()
    bad.write_text(job.read_text().replace("/results", "/file"))
    ended = gainladder("export", "--job", str(bad), *store)
    assert ended.code == 3
    assert "csv: [Errno 17] File exists" in ended.out
    assert "command: waits for its files" in ended.out
    without = tmp_path / "without.toml"
    without.write_text(HEAD)
    assert "has no [export]; allowed is a job that has one" in gainladder("export", "--job", str(without), *store).err
    assert gainladder("export", "--list", "--follow", *store).code == 2
    clock = _Clock()
    assert follow(opened, clock, wanted=None) == 1
    assert clock.slept == [5.0, 5.0]


class _Clock:
    """Ends a loop at its second pause."""

    def __init__(self):
        self.slept = []

    def now_s(self):
        return 0.0

    def utc(self):
        return "2026-11-30T00:00:00+00:00"

    def sleep(self, seconds):
        self.slept.append(seconds)
        if len(self.slept) == 2:
            raise KeyboardInterrupt


def _described(table):
    """Each cell is of the type that the description says; an independent reader of such files was shown some."""
    content = json.loads(table.with_name(table.name + "-metadata.json").read_text())
    assert (content["@context"][0], content["url"]) == ("http://www.w3.org/ns/csvw", table.name)
    assert content["notes"][0]["run"]["verdict"] == "FAIL"
    columns = content["tableSchema"]["columns"]
    with table.open(newline="", encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    assert head == [column["titles"] for column in columns]
    units = {column["name"]: column.get("schema:unitText") for column in columns}
    assert [units[name] for name in ("residual_percent", "drive_vpk", "code_step_in_v")] == ["%", "V", "V"]
    assert units["outcome"] is None
    assert units["measured_codes_per_v"] == "code/V"
    for row in rows:
        for column, cell in zip(columns, row, strict=True):
            kind = column["datatype"]
            if cell and kind == "integer":
                int(cell)
            elif cell and kind == "double":
                float(cell)
            elif cell and isinstance(kind, dict):
                assert cell in kind["format"].split("|")
    key = [head.index(name) for name in content["tableSchema"]["primaryKey"]]
    assert len({tuple(row[at] for at in key) for row in rows}) == len(rows) == 8
    assert _datatype("used_bits") == "double"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('folder = "x"\nfiles = ["csv", "csv"]', "each form once"),
        ('folder = "x"\nfiles = []', "files"),
        ('folder = "x"\nfiles = ["csv"]\ncommand = ["send", "{json}"]', "{csv}, {unit}, {run}, .*; got {json}"),
        ('folder = "x"\nfiles = ["csv"]\ncommand = [""]', "command: a program first"),
        ('folder = "x"\nfiles = ["csv"]\ntimeout_s = 1e9', "timeout_s"),
    ],
)
def test_a_table_that_cannot_be_carried_out(text, words):
    with pytest.raises(ConfigError, match=words):
        parse(Export, text, file="x")


def test_not_with_a_night(gainladder, tmp_path):
    text = (ROOT / "configs" / "jobs" / "overnight.toml").read_text().replace('"../', f'"{ROOT}/configs/')
    (tmp_path / "n.toml").write_text(text + '\n[export]\nfolder = "x"\nfiles = ["csv"]\n')
    ended = gainladder("preview", str(tmp_path / "n.toml"))
    assert (ended.code, "[export] or [night], not both" in ended.err) == (2, True)
