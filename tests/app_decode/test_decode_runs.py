"""Captures of whole runs, written for `decode`: roles are found without hints, and every word comes back."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from harness.app.setup import read_setup
from harness.report.capture_file import csv_pieces, vcd_pieces
from tests.simulated_run import swept

JOBS = Path(__file__).parents[2] / "configs" / "jobs"
# Fine positions that move every channel's word, few enough to be quick.
CASES = {"ci": (0, 10, 20), "tarn-vg-1": (0, 9, 25, 40, 56), "corrie-ur-2": (0, 7, 20, 33, 40)}


@pytest.fixture(scope="module", params=list(CASES))
def run(request):
    setup = read_setup(str(JOBS / f"{request.param}.toml"))
    rungs = tuple(rung for rung in setup.rungs if rung.setting.fine in CASES[request.param])
    setup = dataclasses.replace(setup, rungs=rungs)
    return setup, swept(setup, seed=11)


def truth_of(setup, readings):
    """What each reading's own gain device was told, by the law's plan; other words pass by on the same lines."""
    states = [setup.law.predict(reading.setting).state for reading in readings]
    return [(state.word.latch, state.word.bits, state.word.value) for state in states]


def plain(line):
    """A line without the path that a dump puts before it."""
    return line.removeprefix("bus.")


@pytest.mark.parametrize("form", ["vcd", "csv"])
def test_roles_and_words_of_a_run_without_hints(run, form, tmp_path, gainladder):
    setup, readings = run
    bus = setup.device.bus
    captures = [(reading.started_s, reading.capture) for reading in readings]
    pieces = vcd_pieces(captures, software="1.0") if form == "vcd" else csv_pieces(captures)
    path = tmp_path / f"run.{form}"
    path.write_text("".join(pieces))
    ended = gainladder("decode", str(path), "--json")
    roles = ended.json["roles"]
    assert (plain(roles["data"]["value"]), plain(roles["clock"]["value"])) == (bus.data, bus.clock)
    assert (roles["clock_edge"]["value"], roles["latch_edge"]["value"]) == ("rising", "rising")
    driven = {plain(word["latches"][0]) for word in ended.json["words"]}
    assert {plain(latch["value"]) for latch in roles["latches"]} == driven
    bits = {member.latch: member.bits for member in bus.on_bus}
    assert {plain(latch["value"]): n["value"] for latch, n in zip(roles["latches"], roles["bits"], strict=True)} == {
        latch: str(bits[latch]) for latch in driven
    }
    # The words of the gain device that each reading was about are the plan's, in order.
    told = [(plain(w["latches"][0]), w["bits"], w["value"]) for w in ended.json["words"]]
    last, expected = 0, truth_of(setup, readings)
    for word in expected:
        last = told.index(word, last) + 1
    assert {note["note"] for note in ended.json["words"]} <= {""}


def short_job(folder, bench=None):
    """The CI job, two settings a range of one channel."""
    text = (JOBS / "ci.toml").read_text().replace('"../', f'"{JOBS.parent}/')
    text = text.replace("fine = [0, 5, 10, 15, 20]", "fine = [0, 20]").replace("channels = [1, 2]", "channels = [1]")
    if bench is not None:
        text = text.replace(f'"{JOBS.parent}/benches/simulated.toml"', f'"{bench}"')
    path = folder / "job.toml"
    path.write_text(text)
    return path


def test_report_writes_the_captures_of_a_run(tmp_path, gainladder):
    assert gainladder("sweep", str(short_job(tmp_path))).code == 0
    for form, name in (("vcd", "run.vcd"), ("capture-csv", "run.csv")):
        path = tmp_path / name
        ended = gainladder("report", "last", "--format", form, "--out", str(path))
        assert (ended.code, ended.err.strip()) == (0, f"wrote {path}")
        words = gainladder("decode", str(path), "--wiring", "configs/devices/skerry-hr-4.toml", "--json")
        assert words.code == 0, words.json["findings"]
        # 44 readings; all five devices are written at each change of a range or of a fine position.
        assert words.json["word_count"] % 5 == 0
        assert words.json["word_count"] >= 44 * 5
    head = "time_ns,data,clock,latch-1,latch-2,latch-3,latch-4,latch-bias\n0,"
    assert gainladder("report", "last", "--format", "capture-csv").out.startswith(head)


def test_a_run_without_captures_says_so(tmp_path, gainladder):
    bench = (JOBS.parent / "benches" / "simulated.toml").read_text().replace('"../', f'"{JOBS.parent}/')
    start = bench.index("[adapter]")
    path = tmp_path / "bench.toml"
    path.write_text(bench[:start] + bench[bench.index("[", start + 1) :])
    gainladder("sweep", str(short_job(tmp_path, bench=path)))
    ended = gainladder("report", "last", "--format", "vcd")
    assert ended.code == 2
    assert "holds no captures of the bus: allowed is a run on a bench with an adapter; sweep again on" in ended.err
