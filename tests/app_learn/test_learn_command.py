"""`gainladder learn` on the simulated bench: from nothing to a device file that is swept with."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from harness.errors import StationFault
from harness.sweep import Walk

BENCH = "configs/benches/simulated.toml"
SETTINGS = Path("configs/settings/skerry-hr-4.toml").read_text()
RANGES = ("5V", "2V", "50mV", "20mV", "10mV")


def few(text: str = SETTINGS, ranges_kept: tuple[str, ...] = RANGES) -> str:
    """One channel and some of the ranges of the demo device."""
    head, *ranges = text.split("[[coarse]]\n")
    last, fine = ranges[-1].split("[fine]\n")
    kept = [part for part in (*ranges[:-1], last) if part.split('"')[1] in ranges_kept]
    return head.replace("channels = 4", "channels = 1") + "".join(f"[[coarse]]\n{p}" for p in kept) + "[fine]\n" + fine


@pytest.fixture
def learn(gainladder: Any, tmp_path: Path) -> Any:
    """The command with store, pages and files in a folder of the test's own."""

    def run(*words: str, bench: str = BENCH, text: str = "") -> Any:
        settings = str(tmp_path / "settings.toml")
        Path(settings).write_text(text or few())
        where = ("--store", f"sqlite:///{tmp_path}/runs.sqlite", "--reports", str(tmp_path / "pages"))
        out = () if "--out" in words else ("--out", str(tmp_path / "device.toml"))
        return gainladder("learn", bench, "--settings", settings, *out, *where, *words)

    return run


def test_a_device_is_learned_from_nothing_and_swept_with_what_was_learned(learn: Any, tmp_path: Path) -> None:
    ended = learn("--yes", "--verify")
    assert ended.code == 0, ended.err
    assert ended.err.index("CAUTIONS") < ended.err.index("-- listen") < ended.err.index("-- measure")
    assert "law        linear-code in bits 1 to 8 of the word, most significant first (known)" in ended.err
    assert "only every 2. code is used" in ended.err
    device = tomllib.loads((tmp_path / "device.toml").read_text())
    assert [stage["kind"] for stage in device["stage"]] == ["relay-attenuator", "pregain-bit", "linear-code"]
    assert device["stage"][0]["ratios"] == {"state-0": 1.0, "state-1": 10.0, "state-2": 100.0}
    assert device["coarse"][-1]["arithmetic_ratio"] == 2.0
    assert device["bus"]["on_bus"][0] == {"latch": "orange", "bits": 9, "channel": 1}
    assert "± " in (tmp_path / "device.toml").read_text()
    page = (tmp_path / "device.html").read_text()
    for text in ("latch of 9 bits, channel 1", "a bystander: it follows no channel", "number, 2^7", "sends all"):
        assert text in page
    assert {"device-job.toml", "device-limits.toml"} <= {path.name for path in tmp_path.iterdir()}


def test_without_a_bus_amplitudes_alone_make_a_device_file_that_is_swept_with(learn: Any, tmp_path: Path) -> None:
    text = few(ranges_kept=("5V", "10mV"))
    probed = text[text.index("# The wires") : text.index("[settle]")]
    bench = tmp_path / "bench.toml"
    whole = Path(BENCH).read_text().replace("../", f"{Path('configs').resolve()}/")
    bench.write_text(re.sub(r"^\[adapter\]\n(?:.+\n)*", "", whole, flags=re.M))
    ended = learn("--yes", "--verify", bench=str(bench), text=text.replace(probed, ""))
    assert ended.code == 0, ended.err
    assert "amplitudes alone must do" in ended.err
    assert "in the fine position (likely)" in ended.err
    device = tomllib.loads((tmp_path / "device.toml").read_text())
    assert "bus" not in device
    assert device["coarse"][-1]["arithmetic_ratio"] == 2.0
    assert "No word was seen" in (tmp_path / "device.html").read_text()


def test_a_session_goes_on_where_it_was(learn: Any, tmp_path: Path) -> None:
    first = learn("--yes", "--json")
    notebook = tmp_path / "device-learning" / "notebook.json"
    assert json.loads(notebook.read_text())["run"] == json.loads(first.out)["run"]
    again = learn("--yes", "--json")
    assert json.loads(again.out) == json.loads(first.out)
    assert "readings of" not in again.err


def test_a_measuring_that_broke_off_goes_on_another_day(learn: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The files that it measures by stay as they are in its record, whatever the date."""
    whole = Walk.portion

    def half(walk: Walk, left: Any, **given: Any) -> None:
        whole(walk, left[: len(left) // 2], **given)
        raise KeyboardInterrupt

    words = ("--yes", *(word for fine in range(0, 21, 3) for word in ("--fine", str(fine))))
    text = few(ranges_kept=("5V",))
    monkeypatch.setattr(Walk, "portion", half)
    assert learn(*words, text=text).code != 0
    monkeypatch.setattr(Walk, "portion", whole)
    monkeypatch.setattr("harness.app.learn.RealClock", lambda: SimpleNamespace(utc=lambda: "2031-02-03T04:05:06Z"))
    ended = learn(*words, text=text)
    assert ended.code == 0, ended.err
    assert "goes on: 7 of 14 readings left" in ended.err


def test_another_settings_file_needs_another_session(learn: Any, tmp_path: Path) -> None:
    (tmp_path / "device-learning").mkdir()
    notebook = tmp_path / "device-learning" / "notebook.json"
    notebook.write_text(json.dumps({
        "hashes": {"settings": "x", "bench": "y"}, "wiring": None, "latches": {}, "answers": [], "heard": False,
        "scouted": [], "least_fill": 1.0, "scouting_done": False, "run": "",
    }))  # fmt: skip
    ended = learn("--yes")
    assert ended.code == 2
    assert "begun with another settings, bench file; --anew" in ended.err


def test_a_spoilt_notebook_is_said_and_kept(learn: Any, tmp_path: Path) -> None:
    (tmp_path / "device-learning").mkdir()
    notebook = tmp_path / "device-learning" / "notebook.json"
    notebook.write_text("{")
    ended = learn("--yes")
    assert ended.code == 2
    assert "no notebook of a session" in ended.err
    assert notebook.read_text() == "{"


def test_nothing_is_driven_before_the_cautions_are_confirmed(learn: Any, tmp_path: Path) -> None:
    ended = learn()
    assert ended.code == 2
    assert "the cautions must be confirmed" in ended.err
    assert not (tmp_path / "runs.sqlite").exists()


def test_a_position_that_does_not_exist_is_a_usage_error(learn: Any) -> None:
    ended = learn("--yes", "--fine", "21")
    assert ended.code == 2
    assert "--fine: got 21; allowed: 0 to 20" in ended.err


def test_ears_that_the_bench_lacks_are_a_problem_of_the_files(learn: Any) -> None:
    text = few()
    probed = text[text.index("[probed]") : text.index("[settle]")]
    ended = learn("--yes", text=text.replace(probed, ""))
    assert ended.code == 2
    assert "adapter: got an [adapter]; allowed: with [probed]" in ended.err


def test_ranges_in_another_order_than_their_gains_are_said(learn: Any) -> None:
    """By a device whose commands name ranges in decibels."""
    text = Path("configs/settings/corrie-ur-2.toml").read_text()
    first, second = 'name = "0dB"\nvalue = 0.0', 'name = "20dB"\nvalue = 20.0'
    text = text.replace(first, "FIRST").replace(second, first).replace("FIRST", second)
    ended = learn("--yes", bench="configs/benches/simulated-corrie-ur-2.toml", text=text)
    assert ended.code == 3
    assert "range 0dB has less gain" in ended.err
    assert "reorder [[coarse]]" in ended.err


def test_a_source_that_reaches_no_range_is_said(learn: Any, tmp_path: Path) -> None:
    bench = tmp_path / "bench.toml"
    text = Path(BENCH).read_text().replace("../", f"{Path('configs').resolve()}/")
    bench.write_text(text.replace("max_level_vpk = 10.0", "max_level_vpk = 0.0006"))
    only = few().replace('[[coarse]]\nname = "2V"\nfull_scale_vpp = 2.0\n\n', "")
    for name, scale in (("50mV", 0.05), ("20mV", 0.02), ("10mV", 0.01)):
        only = only.replace(f'[[coarse]]\nname = "{name}"\nfull_scale_vpp = {scale}\n\n', "")
    ended = learn("--yes", bench=str(bench), text=only)
    assert ended.code == 3
    assert "no range can be measured: 5V 100 %: fills only" in ended.err


def test_a_station_that_fails_stops_the_session(learn: Any) -> None:
    ended = learn("--yes", "--fault", "source-load-mis-set")
    assert ended.code == 3
    assert "load" in ended.err


def test_every_settings_file_is_whole() -> None:
    from harness.config import SettingsFile, parse

    for path in sorted(Path("configs/settings").glob("*.toml")):
        assert parse(SettingsFile, path.read_text(), file=str(path)).fine_names


def test_a_measuring_that_the_station_stops_goes_on_with_the_same_words(
    learn: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    stopped = StationFault("the meter reads too much", fault="source-amplitude-wrong")
    monkeypatch.setattr("harness.app.learn_stages.record_run", lambda *given: stopped)
    ended = learn("--yes")
    assert ended.code == 3
    assert "the measuring stopped: the meter reads too much" in ended.err
    assert "`gainladder learn` with the same words goes on where it stopped" in ended.err


def test_records_as_scaled_volts_are_learned_by_their_code_spacing(learn: Any, tmp_path: Path) -> None:
    """The displayed scale goes twice into the spacing of the range that is arithmetic."""
    root = Path("configs").resolve()
    profile = (root / "instruments/skerry-hr-4.toml").read_text().replace('"int16-little"', '"volts-little"')
    (tmp_path / "profile.toml").write_text(profile)
    text = Path(BENCH).read_text().replace("../instruments/skerry-hr-4.toml", f"{tmp_path}/profile.toml")
    text = text.replace("[simulation.unit]\n", '[simulation.unit]\nrecord = "volts"\n').replace("../", f"{root}/")
    (tmp_path / "bench.toml").write_text(text)
    few_fine = [word for fine in range(0, 21, 4) for word in ("--fine", str(fine))]
    ended = learn("--yes", *few_fine, bench=f"{tmp_path}/bench.toml", text=few(ranges_kept=("20mV", "10mV")))
    assert ended.code == 0, ended.err
    assert "scaled volts: a code is the spacing that all values share" in ended.err
    assert "range 10mV: only every 2. code is used" in ended.err
    assert "Records came as scaled volts" in (tmp_path / "device.html").read_text()
