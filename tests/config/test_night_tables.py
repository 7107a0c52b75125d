"""The tables of a night, of links found elsewhere, and of what surrounds a unit: each mistake has its words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from harness.app.night_start import _connector
from harness.app.setup import read_setup
from harness.config import InstrumentFile, InstrumentSlot, JobFile, parse
from harness.errors import ConfigError, UsageError

ROOT = Path(__file__).resolve().parents[2]
JOB = (ROOT / "configs/jobs/overnight.toml").read_text()


def job(old: str, new: str) -> None:
    assert old in JOB
    parse(JobFile, JOB.replace(old, new), file="job.toml")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("every_rungs = 44\nevery_s = 600.0\n", "", "anchors: .*every_rungs or every_s, or both"),
        ('units = ["N1", "N2"]', 'units = ["N1", "N1"]', "night: .*each unit once"),
        ("temperature_c = 50.0", "temperature_c = 500.0", r"night.corner\[1\].temperature_c: got 500"),
    ],
)
def test_a_mistake_in_a_night_is_named(old: str, new: str, words: str) -> None:
    with pytest.raises(ConfigError, match=words):
        job(old, new)


def test_places_to_look_at_need_a_serial_number() -> None:
    with pytest.raises(ValueError, match="serial with also_at: without it nobody knows which instrument answers there"):
        InstrumentSlot(profile="x", address="a", also_at=("b",))


@pytest.mark.parametrize("name", ["glen-tc-1", "lochan-ps-2"])
def test_a_chamber_or_a_supply_says_what_it_can_do(name: str) -> None:
    text = (ROOT / "configs/instruments" / f"{name}.toml").read_text()
    without = "\n".join(line for line in text.splitlines() if not line.startswith("span"))
    with pytest.raises(ConfigError, match="span for a chamber or a supply, and only there"):
        parse(InstrumentFile, without, file=name)


def test_several_units_on_a_real_bench_need_somebody_to_connect_them(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = str(ROOT / "configs/benches/lan-and-serial.toml")
    setup: Any = read_setup(str(ROOT / "configs/jobs/ci.toml"), bench_path=bench)
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    with pytest.raises(UsageError, match="a night of several units needs somebody at the terminal to connect them"):
        _connector(setup, 2)
    asked: list[str] = []
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("click.pause", asked.append)
    _connector(setup, 2)("N2")
    assert asked == ["connect unit N2, then press a key"]
    _connector(setup, 1)("N1")
    assert len(asked) == 1


def test_a_night_is_no_production() -> None:
    with pytest.raises(ConfigError, match=r"\[production\] or \[night\], not both"):
        job("[night]\n", '[production]\ngolden_units = ["G1"]\n\n[night]\n')
