"""Jobs with a ladder file: which ladder a unit walks, what is said of it, how it is judged again; the command."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from harness.app.bench_open import open_bench
from harness.app.commands.preview import command as preview
from harness.app.commands.shorten import command as shorten
from harness.app.ladder_words import ladder_words
from harness.app.run import RunRequest, judged, new_header, record_run
from harness.app.setup import read_setup, setup_of_run
from harness.config import LadderFile, parse
from harness.errors import ConfigError, UsageError
from harness.ladder import is_audited
from harness.store import open_store

CONFIGS = Path(__file__).parents[2] / "configs"
JOB = str(CONFIGS / "jobs" / "corrie-ur-2-short.toml")
AUDITED = next(f"A{number}" for number in range(1000) if is_audited(f"A{number}", every=50))


def changed(tmp_path: Path, file: str, old: str, new: str) -> str:
    configs = Path(shutil.copytree(CONFIGS, tmp_path / "configs"))
    text = (configs / file).read_text("utf-8")
    assert old in text
    (configs / file).write_text(text.replace(old, new), "utf-8")
    return str(configs / "jobs" / "corrie-ur-2-short.toml")


def test_an_audited_unit_walks_everything_and_the_run_says_so() -> None:
    short, whole = read_setup(JOB, unit="A1"), read_setup(JOB, unit=AUDITED)
    assert (len(short.planned()), len(whole.planned())) == (18, 205)
    assert ladder_words(short, "A1").startswith("short ladder: Corrie UR-2, short, version 2, 18 of 205 settings")
    assert ladder_words(short, "A1").endswith("; the whole one on one unit of 50")
    assert ladder_words(whole, AUDITED) == (
        f"audit: unit {AUDITED} walks the whole ladder, one unit of 50 by its serial number"
    )
    assert ladder_words(read_setup(str(CONFIGS / "jobs" / "corrie-ur-2.toml")), "A1") == ""


def test_a_run_keeps_its_ladder_and_is_judged_on_it(tmp_path: Path) -> None:
    setup = read_setup(JOB, unit="A1")
    with (
        open_store(str(tmp_path / "s.sqlite")) as store,
        open_bench(setup.bench, setup.device, transport="in-process", seed=3, faults=()) as opened,
    ):
        header = new_header(setup, opened, RunRequest(unit="A1", operator="", faults=()))
        assert record_run(setup, opened, store, header) is None
        assert any(event.kind == "ladder" and "18 of 205" in event.text for event in store.events(header.run_id))
        _, result = judged(store, header.run_id)
        assert sum(count for _, count in result.counts) == 18
        assert header.file("ladder").version == 2
        assert setup_of_run(store.header(header.run_id)).planned() == setup.planned()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('device = "Corrie UR-2"', 'device = "Tarn VG-1"', "device: got 'Tarn VG-1'"),
        ('coarse = "20dB"', 'coarse = "30dB"', "range[1].coarse: got '30dB'"),
        ("fine = [0, 17, 31, 32]", "fine = [0, 41]", "range[0].fine[1]: got 41"),
    ],
)
def test_a_ladder_of_another_device_is_refused(tmp_path: Path, old: str, new: str, said: str) -> None:
    with pytest.raises(ConfigError) as caught:
        read_setup(changed(tmp_path, "ladders/corrie-ur-2.toml", old, new))
    assert said in str(caught.value)


def test_a_range_of_the_ladder_file_that_cannot_be_driven_is_found_there(tmp_path: Path) -> None:
    job = changed(tmp_path, "benches/simulated-corrie-ur-2.toml", "max_level_vpk = 10.0", "max_level_vpk = 0.05")
    with pytest.raises(ConfigError) as caught:
        read_setup(job)
    (problem, *_) = caught.value.problems
    assert problem.file.endswith("ladders/corrie-ur-2.toml")
    assert problem.key == "range[0].coarse"
    assert "a range the source cannot drive: " in problem.got
    assert "leave the range out here" in problem.allowed


def test_preview_shows_the_ladder_and_that_the_device_has_changed(tmp_path: Path) -> None:
    job = changed(tmp_path, "ladders/corrie-ur-2.toml", "device_version = ", "device_version = 10")
    done = CliRunner().invoke(preview, [job])
    assert done.exit_code == 0
    assert "short ladder: Corrie UR-2, short, version 2, 18 of 205 settings" in done.output
    assert "run gainladder shorten again" in done.output
    assert "18 settings, 36 readings" in done.output


def test_the_command_writes_the_next_version_of_a_file(tmp_path: Path) -> None:
    out = tmp_path / "ladder.toml"
    asked = [JOB, "--out", str(out), "--owner", "test engineering", "--detect", "2"]
    first = CliRunner().invoke(shorten, asked)
    assert first.exit_code == 0, first.output
    assert "relay-not-picking" in first.output
    assert "on all 1" in first.output
    made = parse(LadderFile, out.read_text("utf-8"), file="ladder.toml")
    assert made.coverage is not None
    assert (made.version, made.coverage.detect) == (1, 2)
    CliRunner().invoke(shorten, [*asked, "--structure", "--reason", "structure alone"])
    again = parse(LadderFile, out.read_text("utf-8"), file="ladder.toml")
    assert (again.version, again.change[-1].reason, again.change[0]) == (2, "structure alone", made.change[0])


def test_the_command_as_json() -> None:
    done = CliRunner().invoke(shorten, [JOB, "--json", "--structure"])
    content = json.loads(done.output)
    assert content["full_settings"] == 205
    assert content["settings"] == sum(map(len, content["fine"].values()))


def test_what_the_command_refuses(tmp_path: Path) -> None:
    def refused(*more: str) -> str:
        found = CliRunner().invoke(shorten, [JOB, *more]).exception
        assert isinstance(found, UsageError)
        return str(found)

    for wrong in ("40dB", "x:1", "40dB:41", "40dB:-1", ":3"):
        assert f"--also: got '{wrong}'; allowed: RANGE:FINE with a range of 0dB, 20dB" in refused("--also", wrong)
    assert "--out needs --owner NAME" in refused("--out", "x.toml")
    assert "cannot be read" in refused("--out", str(tmp_path), "--owner", "me")
    limits = tmp_path / "limits.toml"
    text = (CONFIGS / "limits" / "corrie-ur-2.toml").read_text("utf-8")
    limits.write_text(text.replace('item = "gain"', 'item = "residual"', 1), "utf-8")
    assert "say with --least" in refused("--limits", str(limits))
