"""`gainladder learn` with a device that tells what it has; each case ends before anything is driven."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from harness.app import learn_known
from harness.errors import UsageError

CORRIE = "configs/benches/simulated-corrie-ur-2.toml"
SKERRY = "configs/benches/simulated.toml"
STOPS = "the cautions must be confirmed"
"""Where a session without --yes ends, all questions asked."""


@pytest.fixture
def learn(gainladder: Any, tmp_path: Path) -> Any:
    def run(bench: str, *words: str) -> Any:
        return gainladder("learn", bench, "--out", str(tmp_path / "device.toml"), *words)

    return run


def kept(tmp_path: Path) -> dict[str, Any]:
    return tomllib.loads((tmp_path / "device-learning" / "settings.toml").read_text())


def test_without_a_settings_file_the_device_is_asked(learn: Any, tmp_path: Path) -> None:
    ended = learn(SKERRY, "--input-limit", "12.5")
    assert ended.code == 2
    assert STOPS in ended.err
    assert "Skerry HR-4: 4 channels, 11 ranges, 21 fine positions" in ended.err
    assert "at most 12.5 V peak" in ended.err
    assert "told by the device: channels, converter, coarse, fine" in ended.err
    assert "the input limit is that of the command line" in ended.err
    made = kept(tmp_path)
    assert [entry["name"] for entry in made["coarse"]][:3] == ["20V", "10V", "5V"]
    assert made["fine"] == {"first_percent": 100.0, "last_percent": 40.0, "count": 21}


def test_the_devices_own_limit_holds_where_it_is_lower(learn: Any, tmp_path: Path) -> None:
    ended = learn(CORRIE, "--input-limit", "25")
    assert STOPS in ended.err
    assert "at most 20 V peak" in ended.err
    assert "the input limit is that of the device" in ended.err
    assert kept(tmp_path)["input"]["limit"][0]["max_vpk"] == 20.0


def test_a_file_with_a_higher_limit_than_the_command_line_yields(learn: Any) -> None:
    ended = learn(CORRIE, "--settings", "configs/settings/corrie-ur-2.toml", "--input-limit", "0.5")
    assert "at most 0.5 V peak" in ended.err
    assert "that of the command line" in ended.err


def test_a_file_that_says_a_part_is_completed_and_goes_on_another_day(
    learn: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = Path("configs/settings/corrie-ur-2.toml").read_text()
    part = tmp_path / "part.toml"
    part.write_text(re.sub(r"\[\[coarse\]\](.|\n)*?(?=\[fine\])", "", text))
    ended = learn(CORRIE, "--settings", str(part))
    assert STOPS in ended.err
    assert "told by the device: coarse" in ended.err
    first = (tmp_path / "device-learning" / "settings.toml").read_text()
    assert tomllib.loads(first)["description"].startswith("Ultrasonic receiver")

    class Later:
        def utc(self) -> str:
            return "2031-02-03T04:05:06Z"

    monkeypatch.setattr("harness.app.learn.RealClock", Later)
    learn(CORRIE, "--settings", str(part))
    assert (tmp_path / "device-learning" / "settings.toml").read_text() == first


def test_a_spoilt_file_of_an_earlier_session_is_made_anew(learn: Any, tmp_path: Path) -> None:
    (tmp_path / "device-learning").mkdir()
    (tmp_path / "device-learning" / "settings.toml").write_text("kind =")
    assert STOPS in learn(CORRIE, "--input-limit", "5").err
    assert kept(tmp_path)["kind"] == "settings"


def test_nobody_who_says_the_limit_ends_it_before_the_device_is_asked(
    learn: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(learn_known, "survey", None)
    ended = learn(CORRIE, "--yes")
    assert ended.code == 2
    assert "nobody said what the input bears; allowed is a limit in V peak" in ended.err


def test_a_device_that_cannot_be_asked_needs_a_file(learn: Any) -> None:
    ended = learn("configs/benches/simulated-tarn-vg-1.toml", "--input-limit", "5")
    assert ended.code == 2
    assert "got no --settings, and the profile of the Tarn VG-1 has no channels_query, coarse_list_query" in ended.err


@pytest.fixture
def bench(tmp_path: Path) -> Any:
    """The Corrie's bench with lines of its profile taken out."""

    def made(*without: str) -> str:
        profile = Path("configs/instruments/corrie-ur-2.toml").read_text()
        for verb in without:
            profile = re.sub(rf"^{verb} = .*\n", "", profile, flags=re.M)
        (tmp_path / "profile.toml").write_text(profile)
        text = Path(CORRIE).read_text().replace("../instruments/corrie-ur-2.toml", f"{tmp_path}/profile.toml")
        (tmp_path / "bench.toml").write_text(text.replace("../", f"{Path('configs').resolve()}/"))
        return str(tmp_path / "bench.toml")

    return made


def test_an_impedance_that_nobody_tells_is_asked_for(learn: Any, bench: Any) -> None:
    ended = learn(bench("input_limit_query"), "--input-limit", "5")
    assert ended.code == 2
    assert "input: got nothing; allowed: [input] with impedance_ohm and its limit" in ended.err


def test_a_converter_that_nobody_tells_is_asked_for(learn: Any, bench: Any) -> None:
    ended = learn(bench("converter_query"), "--input-limit", "5")
    assert ended.code == 2
    assert "has no converter_query" in ended.err


def test_a_settings_file_that_contradicts_the_device_is_told(learn: Any, tmp_path: Path) -> None:
    text = Path("configs/settings/corrie-ur-2.toml").read_text().replace("value = 20.0", "value = 25.0")
    (tmp_path / "other.toml").write_text(text)
    ended = learn(CORRIE, "--settings", str(tmp_path / "other.toml"), "--yes")
    assert ended.code == 2
    assert "coarse[1]: got 25; allowed: what the device lists: 0, 20, 40, 60, 80" in ended.err


def test_a_settings_file_that_is_none_is_told(learn: Any, tmp_path: Path) -> None:
    (tmp_path / "none.toml").write_text("kind =")
    ended = learn(CORRIE, "--settings", str(tmp_path / "none.toml"), "--yes")
    assert ended.code == 2
    assert "none.toml: (text): got" in ended.err


def test_readings_need_a_settings_file(gainladder: Any) -> None:
    ended = gainladder("learn", "--readings", "x.csv")
    assert ended.code == 2
    assert "got --readings without --settings" in ended.err


def test_somebody_at_a_terminal_is_asked_for_the_limit_first(learn: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def prompt(text: str, **given: Any) -> float:
        asked.append(text)
        return 3.5

    monkeypatch.setattr(learn_known.sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(learn_known.click, "prompt", prompt)
    ended = learn(CORRIE, "--settings", "nowhere.toml")
    assert asked == []
    assert "nowhere.toml" in ended.err
    monkeypatch.setattr(learn_known, "survey", lambda *given, **named: pytest.fail("asked") if not asked else stop())
    ended = learn(CORRIE)
    assert asked == ["What may the input get at most, V peak?"]
    assert "the device is silent" in ended.err


def stop() -> None:
    raise UsageError("the device is silent")
