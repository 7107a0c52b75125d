"""The command line as its users meet it: outcomes, exit codes, words; everything in process."""

from __future__ import annotations

import csv
import io
import json
import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import pytest

from harness.app.main import COMMANDS, ELSEWHERE

JOB = "configs/jobs/ci.toml"


def test_a_run_can_be_judged_reported_and_listed_later_without_a_bench(gainladder: Any, tmp_path: Path) -> None:
    swept = gainladder("sweep", JOB, "--unit", "A1", "--seed", "1", "--fault", "pregain-ratio-wrong:1", "--json")
    run = swept.json["run"]
    assert Path(swept.json["report"]).read_text().startswith("<!")

    again = gainladder("judge", "last", "--json")
    assert again.code == swept.code == 1
    assert {k: v for k, v in again.json.items() if k != "report"} == {
        k: v for k, v in swept.json.items() if k != "report"
    }
    listed = gainladder("runs", "--json").json
    assert [entry["run"] for entry in listed] == [run]
    assert listed[0]["end"] == "finished"
    assert run in gainladder("runs").out

    rows = list(csv.DictReader(io.StringIO(gainladder("report", run[:12], "--format", "csv").out)))
    assert len(rows) == swept.json["settings"]
    content = json.loads(gainladder("report", "last", "--format", "json").out)
    assert len(content["settings"]) == swept.json["settings"]
    suite = ElementTree.fromstring(gainladder("report", "last", "--format", "junit").out)
    assert suite.findall(".//failure")
    page = tmp_path / "page.html"
    assert gainladder("report", "last", "--out", str(page)).code == 0
    assert "FAIL" in page.read_text()


def test_other_limits_flip_a_verdict_from_the_record(gainladder: Any, tmp_path: Path) -> None:
    gainladder("sweep", JOB, "--unit", "A1", "--seed", "1")
    tight = tmp_path / "tight.toml"
    text = Path("configs/limits/skerry-hr-4.toml").read_text()
    tight.write_text(text.replace("low = -2.0\nhigh = 2.0\nguard = 0.44", "low = -0.05\nhigh = 0.05\nguard = 0.0"))
    assert gainladder("judge", "last").code == 0
    flipped = gainladder("judge", "last", "--limits", str(tight))
    assert flipped.code == 1
    assert "allowed -0.05 to +0.05 percent" in flipped.out
    assert re.search(r"FAIL  ch2 gain: \d+ of 55 \(.*\); worst: ch2 ", flipped.out), "like failures are one line"


def test_preview_shows_the_ladder_and_opens_nothing(gainladder: Any) -> None:
    ended = gainladder("preview", "configs/jobs/demo.toml")
    assert ended.code == 0
    assert "924 settings, 1848 readings" in ended.out
    assert "latch-1:029" in ended.out
    assert gainladder("preview", JOB, "--json").json["summary"]["settings"] == 110


def test_check_prints_cautions_identities_contracts_and_the_interlock(gainladder: Any) -> None:
    ended = gainladder("check", "configs/benches/simulated.toml")
    assert ended.code == 0, ended.err
    assert "CAUTIONS" in ended.err
    assert "Software is not a safety function" in ended.err
    assert "Skerry HR-4" in ended.out
    assert "refuses 45 V peak" in ended.out
    assert "source output                off" in ended.out


def test_check_holds_a_meter_to_its_contract(gainladder: Any) -> None:
    ended = gainladder("check", "configs/benches/simulated-metered.toml")
    assert ended.code == 0, ended.err
    assert "Cairn AM-2, serial CA000001" in ended.out
    assert "meter contract               kept" in ended.out


def test_a_run_begins_with_the_cautions(gainladder: Any) -> None:
    assert gainladder("sweep", JOB, "--unit", "A1").err.startswith("CAUTION")


def test_faults_are_listed_with_what_they_do_and_how_they_show(gainladder: Any) -> None:
    said = gainladder("faults").out
    for name in (
        "data-bit-stuck-low", "relay-not-picking", "pregain-ratio-wrong", "latch-missing", "fine-gain-arithmetic",
        "load-resistor-missing", "source-load-mis-set",
    ):  # fmt: skip
        assert name in said
    assert len(gainladder("faults", "--json").json) >= 7


@pytest.mark.parametrize("words", [(), ("--help",), ("sweep", "--help"), ("judge", "--help")])
def test_commands_explain_themselves(gainladder: Any, words: tuple[str, ...]) -> None:
    ended = gainladder(*words)
    assert "Usage" in ended.out + ended.err


def test_the_overview_shows_each_command_with_a_whole_sentence(
    gainladder: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    said = gainladder("--help").out
    assert {path.stem for path in Path("harness/app/commands").glob("[!_]*.py")} == set(COMMANDS) - set(ELSEWHERE)
    for name, sentence in COMMANDS.items():
        assert f"  {name:<9}  {sentence}\n" in said


@pytest.mark.parametrize("group", ["golden", "station", "store"])
def test_a_group_shows_its_commands_with_whole_sentences(
    gainladder: Any, monkeypatch: pytest.MonkeyPatch, group: str
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    rows = gainladder(group, "--help").out.split("Commands:\n")[1].splitlines()
    assert len(rows) >= 3
    assert all(row.endswith(".") and not row.endswith("...") for row in rows)


def test_the_same_seed_gives_the_same_numbers(gainladder: Any, tmp_path: Path) -> None:
    first = gainladder("sweep", JOB, "--unit", "A1", "--seed", "7", "--json").json
    second = gainladder("sweep", JOB, "--unit", "A1", "--seed", "7", "--json").json
    other = gainladder("sweep", JOB, "--unit", "A1", "--seed", "8", "--json").json
    assert first["worst_residual_percent"] == second["worst_residual_percent"]
    assert first["worst_residual_percent"] != other["worst_residual_percent"]


def copied(tmp_path: Path, **changes: tuple[str, str, str]) -> Path:
    """The configuration files in a folder of their own, one text of one of them replaced."""
    import shutil

    home = tmp_path / "configs"
    shutil.copytree("configs", home, ignore=shutil.ignore_patterns("README.md"))
    for name, old, new in changes.values():
        path = home / name
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))
    return home


def test_problems_of_all_files_come_at_once_and_nothing_is_started(gainladder: Any, tmp_path: Path) -> None:
    home = copied(
        tmp_path,
        a=("jobs/ci.toml", "fill_target", "fil_target"),
        b=("devices/skerry-hr-4.toml", 'kind = "linear-code"', 'kind = "linear-cod"'),
        c=("limits/skerry-hr-4.toml", 'item = "word"', 'item = "words"'),
        d=("instruments/machair-sg-1.toml", 'role = "source"', 'role = "sorce"'),
    )
    (home / "jobs/ci.toml").write_text((home / "jobs/ci.toml").read_text().replace("fil_target", "fill_target"))
    ended = gainladder("sweep", str(home / "jobs/ci.toml"), "--unit", "A1")
    assert ended.code == 2
    assert "stage[2].kind" in ended.err
    assert "'words'" in ended.err
    assert "'sorce'" in ended.err
    assert not (tmp_path / "runs.sqlite").exists()
    assert not (tmp_path / "pages").exists()


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("jobs/ci.toml", "fill_low = 0.5", "fill_lowest = 0.5", "ladder.fill_lowest: got an unknown key"),
        ("jobs/ci.toml", "channels = [1, 2]", 'channels = "all"', "ladder.channels: got 'all' (str); allowed: tuple"),
        ("jobs/ci.toml", "channels = [1, 2]", "channels = [1, 9]", "9"),
        ("jobs/ci.toml", "../devices/skerry-hr-4.toml", "../devices/nothing.toml", "No such file"),
        ("devices/skerry-hr-4.toml", "full_scale_vpp = 20.0", "full_scale_vpp = 200.0", "20V"),
    ],
)
def test_bad_files_are_named_with_place_got_and_allowed(
    gainladder: Any, tmp_path: Path, name: str, old: str, new: str, said: str
) -> None:
    home = copied(tmp_path, a=(name, old, new))
    ended = gainladder("sweep", str(home / "jobs/ci.toml"), "--unit", "A1")
    assert ended.code == 2, ended.err
    assert said in ended.err
    assert "Traceback" not in ended.err
    assert str(home) in ended.err


def test_a_range_that_the_source_cannot_drive_is_refused_before_anything_opens(
    gainladder: Any, tmp_path: Path
) -> None:
    home = copied(tmp_path, a=("instruments/machair-sg-1.toml", "max_vpk = 10.0", "max_vpk = 2.0"))
    ended = gainladder("preview", str(home / "jobs/ci.toml"))
    assert ended.code == 2
    assert "20V" in ended.err
    assert "cannot drive" in ended.err


def test_an_unwritable_reports_folder_is_said_before_the_run(gainladder: Any, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    ended = gainladder("sweep", JOB, "--unit", "A1", "--reports", str(blocked / "pages"))
    assert ended.code == 2
    assert "name another with --reports" in ended.err
    assert not (tmp_path / "runs.sqlite").exists()


def test_a_store_that_cannot_be_made_is_said_before_the_run(gainladder: Any, tmp_path: Path) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--store", str(tmp_path / "missing" / "runs.sqlite"))
    assert ended.code == 3
    assert "missing" in ended.err


@pytest.mark.parametrize("command", [("judge", "last"), ("report", "last"), ("runs",)])
def test_looking_into_a_store_that_is_not_there_says_so_and_makes_none(
    gainladder: Any, tmp_path: Path, command: tuple[str, ...]
) -> None:
    ended = gainladder(*command)
    assert ended.code == 3
    assert "runs.sqlite" in ended.err
    assert not (tmp_path / "runs.sqlite").exists()


def test_an_unknown_run_names_what_there_is(gainladder: Any) -> None:
    run = gainladder("sweep", JOB, "--unit", "A1", "--json").json["run"]
    ended = gainladder("judge", "nonsense")
    assert ended.code == 2
    assert run in ended.err


@pytest.mark.parametrize("option", [("--seed", "1"), ("--fault", "latch-missing")])
def test_a_real_bench_takes_no_simulation_options(gainladder: Any, option: tuple[str, str]) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--bench", "configs/benches/lan-and-serial.toml", *option)
    assert ended.code == 2
    assert "need a simulated bench" in ended.err


def test_a_real_bench_needs_a_unit(gainladder: Any) -> None:
    ended = gainladder("sweep", JOB, "--bench", "configs/benches/lan-and-serial.toml")
    assert ended.code == 2
    assert "--unit SERIAL" in ended.err


def test_only_a_simulated_bench_can_be_served(gainladder: Any) -> None:
    ended = gainladder("simulate", "configs/benches/lan-and-serial.toml")
    assert ended.code == 2
    assert "describes a real bench" in ended.err


def test_check_needs_to_know_the_device(gainladder: Any, tmp_path: Path) -> None:
    home = copied(tmp_path, a=("benches/simulated.toml", 'device_file = "../devices/skerry-hr-4.toml"\n', ""))
    bench = str(home / "benches/simulated.toml")
    ended = gainladder("check", bench)
    assert ended.code == 2
    assert "--device" in ended.err


def test_an_error_of_ours_nobody_foresaw_is_internal_and_asks_for_a_report(
    gainladder: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.simulated.catalogue", lambda: 1 / 0)
    ended = gainladder("faults")
    assert ended.code == 6
    assert "please report it: ZeroDivisionError" in ended.err
