"""What a job keeps of its raw data, and what `judge` can still decide without them."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest

from harness.app.retention import dropped_lines, night_bytes
from harness.app.setup import read_setup
from harness.config.job_file import Raw
from harness.errors import ConfigError
from harness.store import open_store
from harness.values import Purpose, Reading, ReadingStatus

ROOT = Path(__file__).resolve().parents[2]
SMALL = """[ladder]
channels = [1, 2]
coarse = ["5V", "20mV"]
fine = [0, 10, 20]

[anchors]
every_rungs = 8

[[anchors.setting]]
channel = 1
coarse = "20mV"
fine = 10
"""


def job(folder: Path, raw: str) -> str:
    head = (ROOT / "configs/jobs/ci.toml").read_text().split("[ladder]")[0]
    path = folder / "job.toml"
    path.write_text(head.replace('"../', f'"{ROOT}/configs/') + raw + SMALL)
    return str(path)


def readings(folder: Path) -> list[Reading]:
    with open_store(str(folder / "runs.sqlite"), read_only=True) as store:
        assert store.check().faults == ()
        return list(store.readings(store.resolve("last")))


def numbers(shown: dict[str, Any]) -> Any:
    return shown["verdict"], shown["counts"]


def test_none_is_kept_and_the_gains_are_decided_again_from_the_numbers(gainladder: Any, tmp_path: Path) -> None:
    ended = gainladder("sweep", job(tmp_path, '[raw]\nkeep = "none"\n'), "--unit", "A1", "--seed", "1", "--json")
    assert ended.code == 0, ended.err
    taken = readings(tmp_path)
    assert taken
    assert all(r.waveform is None and r.capture is None and r.kept is not None for r in taken)
    assert f"raw data of {len(taken)} of {len(taken)} readings dropped (rule: none); judged PASS by limits" in ended.err
    again = gainladder("judge", "last", "--json")
    assert f"{len(taken)} readings can no longer be judged from raw data (rule none, " in again.err
    assert "ch2 20mV 100 %, ch2 20mV 70 %, ch2 20mV 40 %\n" in again.err
    assert again.json["counts"] == ended.json["counts"]


def test_what_tells_something_is_kept_and_every_nth_of_the_rest(gainladder: Any, tmp_path: Path) -> None:
    raw = '[raw]\nkeep = "telling"\nevery = 7\n'
    ended = gainladder("sweep", job(tmp_path, raw), "--unit", "A1", "--seed", "1", "--fault", "data-bit-stuck-low:2")
    assert ended.code == 1
    taken = readings(tmp_path)
    kept = {r.index for r in taken if r.kept is None}
    assert {r.index for r in taken if r.purpose is Purpose.ANCHOR} <= kept
    assert {r.index for r in taken if r.index % 7 == 0} <= kept
    gone = [r for r in taken if r.kept is not None]
    # A good channel loses what it need not keep; of the bad one only what passes goes.
    assert {r.setting.channel for r in gone} >= {1}
    assert all(r.kept is not None and r.kept.outcome == "PASS" for r in gone)
    bad = {r.setting for r in taken if r.setting.channel == 2} - {r.setting for r in gone}
    assert bad
    assert gainladder("judge", "last").code == 1


def test_all_is_kept_without_a_rule_and_by_a_run_that_broke_off(
    gainladder: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from harness.store.recorder import RunRecorder

    record = RunRecorder.record

    def dies(self: RunRecorder, reading: Reading) -> None:
        if reading.index == 9:
            raise KeyboardInterrupt
        record(self, reading)

    monkeypatch.setattr(RunRecorder, "record", dies)
    path = job(tmp_path, '[raw]\nkeep = "none"\n')
    assert gainladder("sweep", path, "--unit", "A1", "--seed", "1").code == 130
    assert all(r.waveform is not None for r in readings(tmp_path))
    monkeypatch.undo()

    def blank(self: RunRecorder, reading: Reading) -> None:
        gone = dataclasses.replace(
            reading, waveform=None, capture=None, status=ReadingStatus.INVALID, reason="timeout: device"
        )
        record(self, gone if reading.index == 12 else reading)

    monkeypatch.setattr(RunRecorder, "record", blank)
    monkeypatch.chdir(ROOT)
    ended = gainladder("resume", "last", "--job", path)
    assert ended.code == 0, ended.err
    taken = readings(tmp_path)
    assert all(r.waveform is None for r in taken)
    # What never had any raw data has lost none.
    assert f"raw data of {len(taken) - 1} of {len(taken)} readings dropped (rule: none)" in ended.err
    assert dropped_lines([], {}) == ()


def test_every_nth_of_what_is_not_sorted_out_is_a_mistake(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match='every goes with keep = "telling", not with \'all\''):
        read_setup(job(tmp_path, "[raw]\nevery = 5\n"))


def test_room_for_a_night_is_asked_for_before_its_first_reading_by_what_will_stay() -> None:
    setup = read_setup(str(ROOT / "configs/jobs/overnight.toml"))
    whole = night_bytes(setup, 1)
    assert night_bytes(setup, 28) == 28 * whole

    def keeping(raw: Raw) -> int:
        return night_bytes(dataclasses.replace(setup, job=setup.job.model_copy(update={"raw": raw})), 28)

    # 132 readings of a run leave 4000 bytes each; the last run is whole until it is judged.
    assert keeping(Raw(keep="none")) == whole + 28 * 132 * 4000
    assert keeping(Raw(keep="telling", every=4)) == whole + 28 * (132 * 4000 + whole // 4)
