"""`report --against` and `report --lot` over a store of short runs."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pytest

from harness.drivers import RealClock
from harness.store import add_note, open_store
from harness.values import GOLDEN_UNIT

ROOT = Path(__file__).resolve().parents[2]
LADDER = '\n[ladder]\nchannels = [1]\ncoarse = ["5V", "2V"]\nfine = [0, 10, 20]\n'


def job(tmp_path: Path, name: str, ladder: str = LADDER) -> str:
    head = (ROOT / "configs/jobs/ci.toml").read_text().split("[ladder]")[0]
    path = tmp_path / f"{name}.toml"
    path.write_text(head.replace('"../', f'"{ROOT}/configs/') + ladder)
    return str(path)


@pytest.fixture
def runs(gainladder: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Run ids, oldest first: A1 twice, a run of another job, and A2 with a relay that does not pick."""
    first, other = job(tmp_path, "one"), job(tmp_path, "two", LADDER.replace('"5V", ', ""))
    asked = ([first, "A1"], [first, "A1"], [other, "A1"], [first, "A2", "--fault", "relay-not-picking:1"])
    # Runs begun within one second: their ids fall from one to the next.
    ids, times = itertools.count(0xFFFFFFFF, -1), itertools.count(1)
    monkeypatch.setattr("harness.app.run.secrets.token_hex", lambda _: f"{next(ids):08x}")
    monkeypatch.setattr(RealClock, "utc", lambda _: f"2026-11-30T12:00:00.{next(times):06d}+00:00")
    for path, unit, *more in asked:
        gainladder("sweep", path, "--unit", unit, *more)
    with open_store(str(tmp_path / "runs.sqlite"), read_only=True) as store:
        return [info.header.run_id for info in reversed(store.runs())]


def test_pages_of_several_runs(gainladder: Any, tmp_path: Path, runs: list[str]) -> None:
    by_unit = {info["run"]: info["unit"] for info in gainladder("runs", "--json").json}
    bad = next(run for run in runs if by_unit[run] == "A2")
    out = tmp_path / "page.html"
    against = gainladder("report", bad, "--against", runs[0], "--out", str(out))
    assert against.code == 0, against.err
    assert "3 of 6 settings come out otherwise" in out.read_text()
    lot = gainladder("report", bad, "--lot", "--out", str(out))
    assert lot.code == 0, lot.err
    page = out.read_text()
    assert "<h1>2 units</h1>" in page
    assert page.count("another job or device file") == 1
    assert page.count("unit A1 was run again") == 1
    assert "relay-not-picking" in page
    _without_golden_units(gainladder, out, bad, runs)


def _without_golden_units(gainladder: Any, out: Path, bad: str, runs: list[str]) -> None:
    with open_store(str(out.parent / "runs.sqlite")) as store:
        add_note(store, bad, GOLDEN_UNIT, "A2", RealClock())
        assert gainladder("report", bad, "--lot", "--out", str(out)).code == 0
        assert out.read_text().count("of a golden unit") == 1
        for run in runs:
            add_note(store, run, GOLDEN_UNIT, "A1", RealClock())
    none = gainladder("report", "--lot")
    assert none.code == 2
    assert "report --lot: every run of one.toml is a golden check; sweep a unit first" in none.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["last", "--lot", "--against", "x"], "report: got several of --lot, --against and --night; allowed"),
        (["--lot", "--format", "csv"], "got --format csv; --lot, --against and --night make pages: leave"),
        ([], "report: got no RUN; allowed: a run id, its unique beginning, or `last`"),
    ],
)
def test_what_does_not_go_together_is_said(gainladder: Any, words: list[str], said: str) -> None:
    ended = gainladder("report", *words)
    assert ended.code == 2
    assert said in ended.err


def test_a_lot_needs_a_run(gainladder: Any, tmp_path: Path) -> None:
    with open_store(str(tmp_path / "runs.sqlite")):
        pass
    ended = gainladder("report", "--lot")
    assert ended.code == 2
    assert "report --lot: the store holds no run; sweep a unit first" in ended.err
