"""Tarn VG-1 and Corrie UR-2: good units pass; each fault fails the affected settings and no others.

The shipped jobs hold every setting, up and down; here a few fine positions stand for all, upwards.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from harness.app.files import FileSet
from harness.app.live_bench import live_bench_text
from harness.app.setup import read_bench, read_setup
from harness.config import BenchFile, parse
from harness.values import Prediction

CONFIGS = Path(__file__).parents[2] / "configs"
FINE = {"tarn-vg-1": [0, 12, 27, 40, 56], "corrie-ur-2": [0, 1, 28, 40]}
Affected = Callable[[Prediction], bool]


@pytest.fixture(scope="module")
def short_job(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], str]:
    """A device's own job with few fine positions, beside a copy of all files that it names."""
    home = tmp_path_factory.mktemp("short") / "configs"
    shutil.copytree(CONFIGS, home)

    def write(device: str) -> str:
        path = home / "jobs" / f"{device}.toml"
        text = (CONFIGS / "jobs" / f"{device}.toml").read_text("utf-8")
        short = text.replace("[ladder]", f"[ladder]\nfine = {FINE[device]}").replace('["up", "down"]', '["up"]')
        path.write_text(short, "utf-8")
        return str(path)

    return write


def bit(number: int) -> Affected:
    return lambda p: bool(int(p.state.control("code")) >> number & 1)


def everything(_: Prediction) -> bool:
    return True


# What must fail is worked out from the planned states alone: signatures of single faults, common practice, no source.
TARN: list[tuple[str, str, Affected]] = [
    ("data-bit-stuck-low:2", "data-bit-stuck-low", bit(4)),
    ("pregain-ratio-wrong:2", "pregain-ratio-wrong", lambda p: p.state.control("pregain") == 1),
    ("latch-missing:2", "latch-missing", everything),
    ("load-resistor-missing:2", "load-resistor-missing", everything),
]
CORRIE: list[tuple[str, str, Affected]] = [
    ("data-bit-stuck-low=7", "data-bit-stuck-low", bit(7)),
    ("relay-not-picking", "relay-not-picking", lambda p: p.state.control("section") == "x10"),
    ("relay-not-picking=2", "relay-not-picking", lambda p: p.state.control("section") == "x100"),
    ("pregain-ratio-wrong=20", "pregain-ratio-wrong", lambda p: p.state.control("second") == 1),
    ("latch-missing", "latch-missing", everything),
    ("fine-gain-arithmetic", "fine-gain-arithmetic", lambda p: p.setting.fine > 0),
    ("load-resistor-missing", "load-resistor-missing", everything),
]
CASES = [("tarn-vg-1", *row) for row in TARN] + [("corrie-ur-2", *row) for row in CORRIE]


@pytest.mark.parametrize(("device", "fault", "name", "affected"), CASES, ids=[f"{c[0]} {c[1]}" for c in CASES])
def test_exactly_the_affected_settings_fail(
    gainladder: Any, short_job: Callable[[str], str], device: str, fault: str, name: str, affected: Affected
) -> None:
    job = short_job(device)
    ended = gainladder("sweep", job, "--seed", "1", "--fault", fault, "--json")
    assert ended.code == 1, ended.err
    planned = {rung.prediction.label: rung.prediction for rung in read_setup(job).rungs}
    faulty = 2 if ":2" in fault else 1
    expected = {label for label, p in planned.items() if p.setting.channel == faulty and affected(p)}
    assert expected
    assert set(ended.json["failing_settings"]) == expected
    assert ended.json["counts"]["INVALID"] == 0
    assert name in [candidate["fault"] for candidate in ended.json["candidates"]]


@pytest.mark.parametrize("device", ["tarn-vg-1", "corrie-ur-2"])
def test_the_station_is_named_and_the_unit_is_not_blamed(
    gainladder: Any, short_job: Callable[[str], str], device: str
) -> None:
    ended = gainladder("sweep", short_job(device), "--fault", "source-load-mis-set", "--json")
    assert ended.code == 3
    assert ended.json["counts"]["FAIL"] == 0
    assert ended.json["candidates"][0]["fault"] == "source-load-mis-set"


@pytest.mark.parametrize("fault", ["relay-not-picking", "fine-gain-arithmetic"])
def test_a_fault_that_the_board_cannot_have_is_a_usage_error(
    gainladder: Any, short_job: Callable[[str], str], fault: str
) -> None:
    ended = gainladder("sweep", short_job("tarn-vg-1"), "--fault", fault)
    assert ended.code == 2
    assert f"fault {fault}: the VG-1 cannot have it: the board has no" in ended.err


@pytest.mark.parametrize("device", ["tarn-vg-1", "corrie-ur-2"])
@pytest.mark.parametrize("seed", [1, 2])
def test_good_units_pass_and_every_step_is_hardware(
    gainladder: Any, short_job: Callable[[str], str], device: str, seed: int
) -> None:
    ended = gainladder("sweep", short_job(device), "--seed", str(seed), "--json")
    assert ended.code == 0, ended.err
    assert ended.json["arithmetic_settings"] == []
    assert ended.json["settings_tested"] == 20


def test_an_adapter_is_needed_to_load_words(gainladder: Any, short_job: Callable[[str], str]) -> None:
    job = Path(short_job("tarn-vg-1"))
    bench = job.parents[1] / "benches" / "simulated-tarn-vg-1.toml"
    text = bench.read_text("utf-8")
    lone = bench.with_name("lone.toml")
    lone.write_text(text[: text.index("[adapter]")] + text[text.index("[wiring]") :], "utf-8")
    ended = gainladder("sweep", str(job), "--bench", str(lone))
    assert ended.code == 2
    assert "lone.toml: adapter: got nothing; allowed: an [adapter]: the words of the Tarn VG-1 are loaded" in ended.err


def test_a_served_bench_keeps_its_pad(tmp_path: Path) -> None:
    files = FileSet()
    setup = read_bench(files, str(CONFIGS / "benches" / "simulated-corrie-ur-2.toml"))
    files.check()
    assert setup is not None
    roles = ("source", "device", "adapter")
    text = live_bench_text(setup, dict.fromkeys(roles, "a"), dict.fromkeys(roles, "s"), str(tmp_path / "live.toml"))
    assert parse(BenchFile, text, file="live").wiring == setup.file.wiring
