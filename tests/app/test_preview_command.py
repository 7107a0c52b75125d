"""`gainladder preview` as the design tool: all shipped devices, files, and a ladder that cannot be walked."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from harness.app.commands.preview import command
from harness.app.preview_text import frequency_text
from harness.config.device_file import Acquisition
from harness.errors import ConfigError

CONFIGS = Path(__file__).parents[2] / "configs"


def preview(*arguments: object) -> Result:
    return CliRunner().invoke(command, [str(argument) for argument in arguments])


@pytest.mark.parametrize(
    ("job", "words"),
    [
        ("demo", ("ch4 10mV 40 %", "231 of 231 positions", "gaps: none")),
        ("tarn-vg-1", ("ch2 high +28 dB", "-11.097", "34.000", "+11.10", "114 of 114 positions")),
        ("corrie-ur-2", ("ch1 40dB +3.5 dB", "100.0 dB", "80dB")),
    ],
)
def test_each_shipped_device(job: str, words: tuple[str, ...]) -> None:
    ended = preview(CONFIGS / "jobs" / f"{job}.toml")
    assert ended.exit_code == 0, ended.output
    for wanted in words:
        assert wanted in ended.output


def test_a_test_frequency_that_another_one_beats_is_named() -> None:
    # 1 MHz over 50.05 kHz is 19.98 samples a cycle; 17 cycles in 4000 samples are odd, prime to them, clear of hum.
    other = preview(CONFIGS / "jobs" / "corrie-ur-2.toml").output
    assert "test frequency: 50050 Hz is not" in other
    assert "50150 Hz is, with 1003 cycles" in other
    assert "test frequency" not in preview(CONFIGS / "jobs" / "demo.toml").output


def test_a_record_without_any_good_test_frequency_says_why(capsys: pytest.CaptureFixture[str]) -> None:
    # Every whole number of cycles is a harmonic of 50 Hz.
    frequency_text(Acquisition(sample_rate_hz=3200.0, samples=64, cycles=5))
    said = capsys.readouterr().out
    assert "test frequency: no frequency near 250 Hz with 64 samples at 3200 Hz" in said
    assert "near a mains harmonic" in said


def test_no_tolerance_stated_is_a_dash_and_never_exact(tmp_path: Path) -> None:
    home = tmp_path / "configs"
    shutil.copytree(CONFIGS, home)
    device = home / "devices/skerry-hr-4.toml"
    stated = preview(home / "jobs/ci.toml").output.splitlines()[1]
    device.write_text("\n".join(line for line in device.read_text().splitlines() if not line.startswith("tolerance")))
    silent = preview(home / "jobs/ci.toml").output.splitlines()[1]
    assert stated.split()[6:9] == ["-19.752", "205.8", "0.50"]
    assert silent.split()[6:10] == ["-19.752", "205.8", "-", "-"]


def test_json_has_the_coverage_too() -> None:
    content = json.loads(preview(CONFIGS / "jobs" / "ci.toml", "--json").stdout)
    assert content["summary"]["settings"] == 110
    assert len(content["coverage"]["rows"]) == 231
    assert content["coverage"]["ranges"][0]["name"] == "20V"
    assert {"common_percent", "independent_percent"} <= set(content["rungs"][0])


def test_csv_and_figure_are_written(tmp_path: Path) -> None:
    table, figure = tmp_path / "map.csv", tmp_path / "map.svg"
    ended = preview(CONFIGS / "jobs" / "tarn-vg-1.toml", "--csv", table, "--figure", figure)
    assert ended.exit_code == 0
    assert len(list(csv.DictReader(io.StringIO(table.read_text())))) == 114
    assert figure.read_text("utf-8").startswith("<?xml")


def test_what_the_design_covers_comes_before_a_ladder_that_cannot_be_walked(tmp_path: Path) -> None:
    shutil.copytree(CONFIGS, tmp_path / "configs")
    bench = tmp_path / "configs" / "benches" / "simulated.toml"
    bench.write_text(bench.read_text().replace("max_level_vpk = 10.0", "max_level_vpk = 0.3"))
    ended = preview(tmp_path / "configs" / "jobs" / "ci.toml")
    assert isinstance(ended.exception, ConfigError)
    assert "a range the source cannot drive: 20V at 100 %" in str(ended.exception)
    assert "21 settings no level fills" in ended.output
    assert preview(tmp_path / "configs" / "jobs" / "ci.toml", "--json").stdout == ""
