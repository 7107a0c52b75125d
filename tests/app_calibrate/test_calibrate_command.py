"""`gainladder calibrate` as its users meet it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from harness.values import ReadingStatus

BENCH = "configs/benches/simulated.toml"


@pytest.fixture
def calibrate(make_desk: Any, gainladder: Any, store_path: str) -> Any:
    """Sweeps once, then runs the command on the run."""
    made = []

    def run(*words: str, faults: tuple[str, ...] = ()) -> Any:
        if not made:
            made.append(make_desk(*faults).sweep())
        return gainladder("calibrate", "last", "--store", store_path, *words)

    return run


def test_a_table_of_constants_and_of_what_they_leave(calibrate: Any) -> None:
    ended = calibrate()
    assert ended.code == 0, ended.err
    assert "serial SK000001" in ended.out
    lines = ended.out.splitlines()
    assert sum(line.startswith(("ch1 ", "ch2 ")) for line in lines) == 6
    at = lines.index(
        "error left when each range is corrected at one fine position, measured, worst channel, percent of gain:"
    )
    assert lines[at + 1].split() == ["fine", "5V", "200mV", "10mV"]
    assert [line.split()[0] for line in lines[at + 2 : at + 6]] == ["100", "70", "40", "worst"]
    assert "further points that would help most" in ended.out
    assert "200mV 40 %" in ended.out


def test_the_export_can_be_read_and_says_where_it_comes_from(calibrate: Any, tmp_path: Path) -> None:
    out = tmp_path / "constants.toml"
    ended = calibrate("--out", str(out), "--json")
    assert ended.code == 0, ended.err
    content, shown = tomllib.loads(out.read_text()), ended.json
    assert (content["kind"], content["unit"], content["written"]) == ("constants", "A1", False)
    assert content["identity"]["serial"] == "SK000001"
    assert content["run"] == shown["run"]
    assert content["date"].isoformat() == shown["date"]
    assert {file["role"] for file in content["file"]} >= {"job", "device", "limits", "bench", "device-profile"}
    assert all(len(file["sha256"]) == 64 for file in content["file"])
    first = content["constant"][0]
    assert (first["channel"], first["range"], first["at"], first["full_scale_vpp"]) == (1, "5V", "100 %", 5.0)
    assert 0.99 < first["gain_ratio"] < 1.01
    assert 0.0 < first["u_percent"] < 1.0
    assert abs(first["offset_code"]) < 10.0
    assert 0.0 < first["u_offset_code"] < 0.1
    assert [item["gain_ratio"] for item in shown["constants"]] == [item["gain_ratio"] for item in content["constant"]]
    assert "before" not in content
    assert not (tmp_path / "constants-before.toml").exists()


def test_written_only_when_told_and_the_old_ones_kept(calibrate: Any, tmp_path: Path) -> None:
    out = tmp_path / "constants.toml"
    ended = calibrate("--out", str(out), "--write", "--bench", BENCH)
    assert ended.code == 0, ended.err
    assert "6 constants written and read back" in ended.err
    assert "verify by a second sweep: gainladder sweep" in ended.err
    content = tomllib.loads(out.read_text())
    kept = tomllib.loads((tmp_path / "constants-before.toml").read_text())
    assert content["written"] is True
    assert content["before"] == kept["before"]
    assert {(item["gain_ratio"], item["offset_code"]) for item in kept["before"]} == {(1.0, 0.0)}
    pairs = zip(content["constant"], content["device"], strict=True)
    assert all(one["gain_ratio"] == pytest.approx(two["gain_ratio"]) for one, two in pairs)
    again = calibrate("--out", str(out), "--write", "--bench", BENCH)
    assert again.code == 2
    assert "exists and holds older constants; move it away" in again.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--write",), "--write needs --bench FILE"),
        (("--write", "--bench", BENCH), "--out FILE.toml"),
        (("--write", "--out", "x.toml"), "--write needs --bench FILE"),
        (("--bench", BENCH), "--bench is for --write alone"),
    ],
)
def test_options_that_do_not_go_together(calibrate: Any, words: tuple[str, ...], said: str) -> None:
    ended = calibrate(*words)
    assert ended.code == 2
    assert said in ended.err


def test_a_faulty_unit_is_cautioned_about(calibrate: Any) -> None:
    ended = calibrate(faults=("pregain-ratio-wrong:1",))
    assert ended.code == 0
    assert "settings of the run FAIL; constants must not hide a fault" in ended.err


def test_tolerances_predict_what_is_left(
    make_desk: Any, gainladder: Any, store_path: str, job: Path, tmp_path: Path
) -> None:
    from harness.app.setup import read_setup

    device = Path("configs/devices/skerry-hr-4.toml").resolve()
    text = re.sub(r"^tolerance = .*\n", "", device.read_text(), flags=re.MULTILINE)
    text = text.replace("ratio = 4.0\n", "ratio = 4.0\ntolerance = { ratio = 0.3 }\n", 1)
    (tmp_path / "device.toml").write_text(text)
    job.write_text(job.read_text().replace(str(device), str(tmp_path / "device.toml")))
    make_desk(setup=read_setup(str(job))).sweep()
    ended = gainladder("calibrate", "last", "--store", store_path)
    assert ended.code == 0, ended.err
    assert "the same as the tolerances of the device file allow" in ended.out
    worst = gainladder("calibrate", "last", "--store", store_path, "--json").json["left"]["worst"]
    # of these ranges only 5 V needs the pre-gain at its end and not at its beginning
    assert [item["predicted_percent"] for item in worst] == pytest.approx([0.3, 0.0, 0.0])


def test_a_run_with_invalid_settings_is_refused(
    make_desk: Any, gainladder: Any, store_path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import dataclasses

    from harness.store.recorder import RunRecorder

    usual = RunRecorder.record

    def spoiled(self: Any, reading: Any) -> None:
        bad = reading.setting.coarse == 6 and reading.status is ReadingStatus.VALID
        usual(self, dataclasses.replace(reading, status=ReadingStatus.INVALID, reason="timeout") if bad else reading)

    monkeypatch.setattr(RunRecorder, "record", spoiled)
    make_desk().sweep()
    ended = gainladder("calibrate", "last", "--store", store_path)
    assert ended.code == 2
    assert "6 settings are INVALID or were not measured (ch1 200mV 100 %" in ended.err
    assert "and 1 more): no constants come of it; sweep again" in ended.err


def test_a_run_of_a_faulty_station_is_refused(make_desk: Any, gainladder: Any, store_path: str) -> None:
    from harness.app.run import RunRequest, new_header, record_run

    desk = make_desk("source-load-mis-set")
    header = new_header(desk.setup, desk.opened, RunRequest(unit="A1", operator="tests", faults=()))
    assert record_run(desk.setup, desk.opened, desk.store, header) is not None
    ended = gainladder("calibrate", "last", "--store", store_path)
    assert ended.code == 2
    assert "the station was at fault" in ended.err
