"""`gainladder learn --readings`: no bench, and no certainty that only a bench gives."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from harness.app.options import login
from harness.learn import captures_of
from harness.learn.listen import Move
from harness.learn.write.toml import whole
from harness.values import Capture, Setting
from tests.learn.random_bench import random_bench
from tests.learn.random_truth import Truth
from tests.learn.session import settings_of

TRUTH = Truth(24)
FINE = range(0, TRUTH.fine, 2)
PLACES = [Setting(1, k, f) for k in range(min(len(TRUTH.combos), 3)) for f in FINE]


def events(capture: Capture) -> str:
    """A capture as CSV: one row an event."""
    lines = ["time_ns," + ",".join(capture.lines)]
    states = [(int(capture.times_ns[0]) - 1000, capture.initial), *zip(capture.times_ns, capture.levels, strict=True)]
    for time_ns, level in states:
        lines.append(f"{int(time_ns)}," + ",".join(str(int(level) >> k & 1) for k in range(len(capture.lines))))
    return "\n".join(lines) + "\n"


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A folder with a settings file, gains and captures of a device that is not there any more."""
    tables = settings_of(TRUTH).model_dump(exclude_unset=True) | {"channels": 1}
    (tmp_path / "settings.toml").write_text(whole(tables, heading="kept"))
    steady = [100.0 * 4.0**p.coarse * 1.02**p.fine for p in PLACES]
    true = [TRUTH.gain(p.channel, p.coarse, p.fine) for p in PLACES]
    for name, gains in (("steady", steady), ("gains", true)):
        rows = [f"{p.channel},{p.coarse},{p.fine},{float(gain)!r}\n" for p, gain in zip(PLACES, gains, strict=True)]
        (tmp_path / f"{name}.csv").write_text("channel,coarse,fine,gain\n" + "".join(rows))
    captures = captures_of(random_bench(TRUTH), [Move(setting=place, rank=None) for place in PLACES])
    (tmp_path / "captures").mkdir()
    for place, one in zip(PLACES, captures, strict=True):
        name = f"{place.channel}-{place.coarse}-{place.fine}.csv"
        (tmp_path / "captures" / name).write_text(events(one.capture))
    return tmp_path


@pytest.fixture
def learn(gainladder: Any, kept: Path) -> Any:
    """The command on that folder."""

    def run(*words: str) -> Any:
        return gainladder("learn", "--settings", f"{kept}/settings.toml", "--out", f"{kept}/device.toml", *words)

    return run


def test_gains_alone_make_a_device_file_in_which_nothing_is_proven(learn: Any, kept: Path) -> None:
    ended = learn("--readings", f"{kept}/steady.csv")
    assert ended.code == 0, ended.err
    assert f"{len(PLACES)} unproven" in ended.err
    assert "nothing was verified" in ended.out
    device = tomllib.loads((kept / "device.toml").read_text())
    assert device["stage"][-1]["kind"] == "linear-in-db"
    assert device["change"][0]["owner"] == login()
    assert "No record was seen" in (kept / "device.html").read_text()
    assert not (kept / "device-job.toml").exists()


def test_records_in_scaled_volts_take_the_place_of_gains(learn: Any, kept: Path) -> None:
    angle = [2.0 * math.pi * 17 * k / 4000 for k in range(4000)]
    rows = []
    for place in PLACES:
        code = 110.0 * (place.fine + 1)
        values = [round(code * math.sin(one)) * 0.004 for one in angle]
        name = f"{place.coarse}-{place.fine}.txt"
        (kept / name).write_text("\n".join(f"{value:.6g}" for value in values) + "\n")
        rows.append(f"1,{place.coarse},{place.fine},{0.1 / 3.0**place.coarse!r},{name}\n")
    (kept / "volts.csv").write_text("channel,coarse,fine,input_vpk,record\n" + "".join(rows))
    ended = learn("--readings", f"{kept}/volts.csv")
    assert ended.code == 0, ended.err
    assert "linear-code in the fine position" in ended.err
    assert "Records came as scaled volts" in (kept / "device.html").read_text()


def test_captures_tell_lines_and_words(learn: Any, kept: Path) -> None:
    ended = learn("--readings", f"{kept}/gains.csv", "--captures", f"{kept}/captures", "--json")
    assert ended.code == 0, ended.err
    bench = random_bench(TRUTH)
    device = tomllib.loads((kept / "device.toml").read_text())
    assert device["bus"]["clock"] == bench.adapter.lines[bench.adapter.line(1)]
    assert device["bus"]["on_bus"][0]["bits"] == TRUTH.word_bits
    assert "latch of" in (kept / "device.html").read_text()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "got neither BENCH nor --readings"),
        (("--captures", "x"), "got neither BENCH nor --readings"),
        (("configs/benches/simulated.toml", "--readings", "x.csv"), "got BENCH with --readings"),
        (("--readings", "x.csv", "--verify"), "leave --verify out"),
        (("--readings", "nowhere.csv"), "nowhere.csv: cannot be read"),
        (("--readings", "{kept}/latin.csv"), "byte 3 is no UTF-8"),
        (("--readings", "{kept}/cut.csv"), "cut.csv: line 3, column 2: got 2 cells"),
        (("--readings", "{kept}/gains.csv", "--captures", "nowhere"), "nowhere: cannot be read"),
        (("--readings", "{kept}/gains.csv", "--captures", "{kept}/empty"), "got no capture"),
        (("--readings", "{kept}/gains.csv", "--captures", "{kept}/cut"), "1-0-0.csv: "),
        (("--readings", "{kept}/gains.csv", "--captures", "{kept}/dangling"), "1-0-0.csv: cannot be read"),
        (("--readings", "{kept}/gains.csv", "--captures", "{kept}/other"), "captures: "),
    ],
)
def test_what_cannot_be_used_is_named_and_nothing_is_written(
    learn: Any, kept: Path, words: tuple[str, ...], says: str
) -> None:
    (kept / "latin.csv").write_bytes(b"cha\xff")
    (kept / "cut.csv").write_text("channel,coarse,fine,gain\n1,0,0,5\n1,0")
    for name in ("empty", "cut", "dangling", "other"):
        (kept / name).mkdir()
    (kept / "cut" / "1-0-0.csv").write_text("time_ns,a,b\n0,0")
    (kept / "dangling" / "1-0-0.csv").symlink_to(kept / "gone.csv")
    for fine, lines in ((0, "a,b,c"), (1, "a,b,d")):
        (kept / "other" / f"1-0-{fine}.csv").write_text(f"time_ns,{lines}\n0,0,0,0\n5,1,0,0\n")
    ended = learn(*(word.format(kept=kept) for word in words))
    assert ended.code == 2
    assert says.replace("captures: ", f"{kept}/other: ") in ended.err
    assert not (kept / "device.toml").exists()
