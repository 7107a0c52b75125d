"""`gainladder decode` as a user sees it: words, findings, files, exit codes."""

from __future__ import annotations

import csv
import io
import json
import struct
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import numpy as np
import pytest

from harness.app import decode_feed, decode_output
from harness.app.main import main
from harness.bus import BusDevice, BusWiring, read_vcd

DATA = Path(__file__).parents[1] / "published" / "data"
LINES = ("data", "clock", "latch_1", "latch_2", "latch_bias")
BUS = """lines = ["data", "clock", "latch-1", "latch-2", "latch-bias"]
data = "data"
clock = "clock"
minimum_pulse_ns = 30.0
layout = [{ control = "pregain", bits = 1 }, { control = "code", bits = 8 }]
on_bus = [{ latch = "latch-1", bits = 9 }, { latch = "latch-2", bits = 9 }, { latch = "latch-bias", bits = 12 }]
"""
HEAD = """kind = "wiring"
version = 1
name = "three-wire"
[[change]]
version = 1
date = 2026-11-25
owner = "gainladder maintainers"
reason = "first description"
[bus]
"""
EXAMPLE_WORDS = ["0x1ff", "0x0a5", "0x800", "0x155", "0x02a", "0x001", "0x001", "0x100"]
PLAIN = BusWiring(
    lines=LINES, data="data", clock="clock", clock_rising=True, latch_rising=True, minimum_pulse_ns=0.0,
    devices=(BusDevice(latch="latch_1", bits=9),),
)  # fmt: skip


class Ran:
    """What a run of the command gave."""

    def __init__(self, *arguments):
        out, err, before = io.StringIO(), io.StringIO(), sys.argv
        sys.argv = ["gainladder", "decode", *map(str, arguments)]
        try:
            with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as stop:
                main()
        finally:
            sys.argv = before
        self.code, self.out, self.err = int(stop.value.code or 0), out.getvalue(), err.getvalue()

    @property
    def json(self):
        return json.loads(self.out)

    @property
    def words(self):
        return [word["word"] for word in self.json["words"]]

    @property
    def unsound(self):
        return {finding["name"] for finding in self.json["findings"] if finding["weight"] == "unsound"}


@pytest.fixture
def wiring(tmp_path):
    path = tmp_path / "wiring.toml"
    path.write_text(HEAD + BUS)
    return path


def example(sound=True):
    """Events of the example; sound ends it before the frame that is cut off."""
    capture = read_vcd((DATA / "three-wire-example.vcd").read_text("ascii"), wiring=PLAIN)
    keep = capture.times_ns < (94_000 if sound else 10**9)
    return capture.times_ns[keep], capture.levels[keep]


def samples(step_ns=20, sound=True):
    times_ns, levels = example(sound)
    grid = np.arange(0, int(times_ns[-1]) + 1000, step_ns)
    at = times_ns.searchsorted(grid, side="right") - 1
    return np.where(at >= 0, levels[at], 0).astype(np.uint8)


def rows(step_ns, shown=str, sound=True):
    return [
        f"{k * step_ns * 1e-9:.9f}," + ",".join(shown(level >> bit & 1) for bit in range(5))
        for k, level in enumerate(samples(step_ns, sound).tolist())
    ]


def write(path, head, lines):
    path.write_text("\n".join([head, *lines]) + "\n")
    return path


def in_every_form(folder):
    """The sound example, file by file, with the options that it needs."""
    times_ns, levels = example()
    events = [
        f"{time * 1e-9:.9f}," + ",".join(str(level >> bit & 1) for bit in range(5))
        for time, level in zip(times_ns.tolist(), levels.tolist(), strict=True)
    ]
    edges, before = [], 0
    for time, level in zip(times_ns.tolist(), levels.tolist(), strict=True):
        edges += [f"{time},{line},{level >> k & 1}" for k, line in enumerate(LINES) if (level ^ before) >> k & 1]
        before = level
    head = "time_s," + ",".join(LINES)
    yield write(folder / "events.csv", head, events), ()
    yield write(folder / "sampled.csv", head, rows(20)), ()
    volts = rows(20, lambda level: "3.21" if level else "0.07")
    yield write(folder / "volts.csv", "time_s," + ",".join(f"{line}_v" for line in LINES), volts), ()
    yield write(folder / "edges.csv", "time_ns,line,level", edges), ()
    (folder / "packed.bin").write_bytes(samples().tobytes())
    yield folder / "packed.bin", ("--rate", "50e6")
    payload = struct.pack("<4sIII", b"GLC1", 0, 0, times_ns.size)
    payload += b"".join(struct.pack("<Q", t << 8 | v) for t, v in zip(times_ns.tolist(), levels.tolist(), strict=True))
    (folder / "adapter.glc").write_bytes(payload)
    yield folder / "adapter.glc", ()


def test_sound_capture_in_every_form(tmp_path, wiring, monkeypatch):
    # Small chunks, so that frames lie across their borders.
    monkeypatch.setattr(decode_feed, "SAMPLES_A_CHUNK", 333)
    monkeypatch.setattr(decode_feed, "TEXT_A_CHUNK", 777)
    for path, options in in_every_form(tmp_path):
        ran = Ran(path, "--wiring", wiring, "--json", *options)
        assert (ran.code, ran.words, ran.unsound) == (0, EXAMPLE_WORDS, set()), path.name
        assert ran.json["word_count"] == 8
        assert abs(next(d for d in ran.json["timing"]["distances"] if d["name"] == "setup")["minimum_ns"] - 80) <= 20
        assert [word["latches"] for word in ran.json["words"][:3]] == [["latch-1"], ["latch-2"], ["latch-bias"]]


def test_roles_are_found_where_no_wiring_is_given(tmp_path):
    for path, options in in_every_form(tmp_path):
        if path.name == "edges.csv":
            continue
        ran = Ran(path, "--json", *options)
        assert (ran.code, ran.words) == (0, EXAMPLE_WORDS), path.name
        assert ran.json["roles"]["clock"]["confidence_ratio"] > 0.8
    ran = Ran(path, *options)
    assert "fastest steady period" in ran.out


def test_example_ends_inside_a_frame():
    ran = Ran(DATA / "three-wire-example.vcd")
    assert ran.code == 3
    assert "unsound  ends-inside-frame: the capture ends with 5 clocks and no latch" in ran.out
    assert "setup           smallest 80 ns" in ran.out
    assert "wrong frames    at most 0.375 of all at 95 % confidence, from 8 sound ones" in ran.out


def test_device_file_serves_as_wiring(tmp_path):
    device = Path(__file__).parents[2] / "configs" / "devices" / "skerry-hr-4.toml"
    lines = "data,clock,latch-1,latch-2,latch-3,latch-4,latch-bias"
    events = ["0,0,0,0,0,0,0,0"]
    now = 0
    for bit in "101010101":
        events += [f"{now + 100},{bit},0,0,0,0,0,0", f"{now + 500},{bit},1,0,0,0,0,0", f"{now + 900},{bit},0,0,0,0,0,0"]
        now += 1000
    events += [f"{now + 500},1,0,0,0,1,0,0", f"{now + 900},1,0,0,0,0,0,0"]
    path = write(tmp_path / "one.csv", "time_ns," + lines, events)
    ran = Ran(path, "--wiring", device, "--json")
    assert (ran.code, ran.words) == (0, ["0x155"])
    assert ran.json["words"][0]["latches"] == ["latch-3"]
    assert ran.json["wiring"] == "Skerry HR-4"


def test_csv_and_figure_are_written(tmp_path, wiring):
    table, figure = tmp_path / "words.csv", tmp_path / "bus.svg"
    ran = Ran(DATA / "three-wire-faults.vcd", "--wiring", wiring, "--csv", table, "--figure", figure)
    assert ran.code == 3
    found = list(csv.DictReader(table.read_text().splitlines()))
    assert [row["word"] for row in found] == ["0x0f3", "0x1e7", "", "0x0aa", "0x133", "0x1d4", "", "", "0x00f"]
    assert found[3]["latches"] == "latch-1+latch-2"
    assert found[2] | {"time_ns": ""} == {
        "time_ns": "", "latches": "latch-1", "position": "0", "bits": "9", "word": "", "clocks_since": "8",
        "note": "short-frame",
    }  # fmt: skip
    svg = figure.read_text()
    assert svg.startswith("<?xml")
    assert "word 0x0f3, 9 bits, taken by latch-1" in svg
    assert f"wrote {table}" in ran.err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bus.svg", "wiring.toml", "words.csv"]


def test_limits_of_the_wiring_are_held_against_the_capture(tmp_path):
    path = tmp_path / "limits.toml"
    path.write_text(HEAD + BUS + "timing = { setup_ns = 100.0, clock_hz = 2.0e6 }\n")
    ran = Ran(DATA / "three-wire-example.vcd", "--wiring", path, "--json")
    assert "setup-violated" in ran.unsound
    setup = next(d for d in ran.json["timing"]["distances"] if d["name"] == "setup")
    assert (setup["limit_ns"], setup["margin_ns"], setup["violations"]) == (100.0, -20.0, 3)
    assert ran.json["timing"]["clock_violations"] == 0
    assert "limit 100 ns, margin -20 ns" in Ran(DATA / "three-wire-example.vcd", "--wiring", path).out


def test_unknown_levels_and_faults_are_listed(wiring):
    ran = Ran(DATA / "three-wire-faults.vcd", "--wiring", wiring, "--json")
    assert ran.code == 3
    assert ran.unsound == {
        "ends-inside-frame", "re-latch", "short-frame", "unknown-level", "long-frame", "broadcast",
        "clocks-under-latch", "setup-zero", "glitches",
    }  # fmt: skip


def test_many_words_are_cut_on_the_screen_only(tmp_path, wiring):
    path = tmp_path / "long.bin"
    path.write_bytes(samples().tobytes() * 8)
    ran = Ran(path, "--wiring", wiring, "--rate", "50e6", "--csv", tmp_path / "words.csv")
    assert "... and 24 more; --csv FILE holds all" in ran.out
    assert len((tmp_path / "words.csv").read_text().splitlines()) == 65
    assert len(Ran(path, "--wiring", wiring, "--rate", "50e6", "--json").words) == 64


def marginal_volts(weak):
    """One word of the example in volts, with highs of the clock weak in the third frame."""

    def shown(level):
        return "3.2" if level else "0.1"

    table = [row.split(",") for row in rows(20, shown)]
    for row in table:
        if 25e-6 < float(row[0]) < 30e-6 and row[2] == "3.2":
            row[2] = weak
    return [",".join(row) for row in table]


@pytest.mark.parametrize(("weak", "code"), [("3.0", 0), ("1.6", 3)])
def test_weak_levels_are_marginal(tmp_path, weak, code):
    family = tmp_path / "ttl.toml"
    family.write_text(HEAD + BUS + '[bus.levels]\nfamily = "ttl"\n')
    path = write(tmp_path / "v.csv", "time_s," + ",".join(f"{line}_v" for line in LINES), marginal_volts(weak))
    ran = Ran(path, "--wiring", family, "--json")
    assert ran.code == code
    assert ("marginal-levels" in ran.unsound) == (code == 3)
    assert ran.json["levels"][0]["v_ih_v"] == 2.0
    assert not ran.json["levels"][0]["automatic"]


def test_thresholds_from_the_capture_are_flagged(tmp_path, wiring):
    path = write(tmp_path / "v.csv", "time_s," + ",".join(f"{line}_v" for line in LINES), marginal_volts("3.2"))
    ran = Ran(path, "--wiring", wiring)
    assert ran.code == 0
    assert "note     auto-thresholds: thresholds were taken from the capture itself" in ran.out
    assert "levels clock" in ran.out


def test_table_cut_off_gives_what_came_before(tmp_path, wiring, monkeypatch):
    monkeypatch.setattr(decode_feed, "TEXT_A_CHUNK", 777)
    lines = rows(20)
    lines[2000] = lines[2000][:13]
    path = write(tmp_path / "cut.csv", "time_s," + ",".join(LINES), lines)
    ran = Ran(path, "--wiring", wiring, "--json", "--csv", tmp_path / "words.csv")
    assert ran.code == 2
    assert ran.words == EXAMPLE_WORDS[:3]
    assert "CSV: 2002:" in ran.json["error"]
    assert f"error: {path}: CSV: 2002:14 (line:column): got 2 cells; allowed: 6" in ran.err
    assert "3 words before it are given" in ran.err
    assert len((tmp_path / "words.csv").read_text().splitlines()) == 4


def test_dump_with_time_running_backwards_gives_what_came_before(tmp_path, wiring):
    text = (DATA / "three-wire-example.vcd").read_text()
    path = tmp_path / "back.vcd"
    path.write_text(text.replace("#82000", "#8200"))
    ran = Ran(path, "--wiring", wiring, "--json")
    assert ran.code == 2
    assert "time 8200 ns after" in ran.json["error"]
    assert "(line:column)" in ran.json["error"]


def test_capture_that_starts_inside_a_frame(tmp_path, wiring):
    path = tmp_path / "inside.bin"
    path.write_bytes(samples()[300:].tobytes())
    ran = Ran(path, "--wiring", wiring, "--rate", "50e6", "--json")
    assert ran.code == 3
    assert ran.unsound == {"starts-inside-frame"}
    assert ran.words == [None, *EXAMPLE_WORDS[1:]]


def test_no_latch_at_all_says_so(tmp_path, wiring):
    path = tmp_path / "nolatch.bin"
    path.write_bytes((samples() & 3).tobytes())
    ran = Ran(path, "--wiring", wiring, "--rate", "50e6", "--json")
    assert (ran.code, ran.words) == (3, [])
    assert ran.unsound == {"no-latch", "ends-inside-frame"}
    assert "no sound frame in this capture" in figure_of(path, wiring, tmp_path / "none.svg")


def figure_of(path, wiring, figure):
    Ran(path, "--wiring", wiring, "--rate", "50e6", "--figure", figure)
    return figure.read_text()


def test_clock_too_fast_for_the_sampling_says_so(tmp_path, wiring):
    path = tmp_path / "slow.bin"
    path.write_bytes(samples(250).tobytes())
    ran = Ran(path, "--wiring", wiring, "--rate", "4e6", "--json")
    assert ran.code == 3
    assert "undersampled" in ran.unsound
    # Two samples a half period show every edge here, but data changes in the same sample as the clock.
    assert [word["clocks_since"] for word in ran.json["words"]] == [9, 9, 12, 9, 9, 9, 9, 9]
    assert "setup-zero" in ran.unsound


def test_dropped_events_of_the_adapter_say_so(tmp_path, wiring):
    path = next(p for p, _ in in_every_form(tmp_path) if p.name == "adapter.glc")
    content = bytearray(path.read_bytes())
    content[4] = 9
    path.write_bytes(content)
    ran = Ran(path, "--wiring", wiring, "--json")
    assert ran.code == 3
    assert ran.unsound == {"dropped"}
    assert not ran.json["counts"]["complete"]


def test_quiet_capture_has_no_roles(tmp_path):
    path = tmp_path / "quiet.bin"
    path.write_bytes(bytes(1000))
    ran = Ran(path, "--rate", "1e6", "--json")
    assert ran.code == 3
    assert ran.json["roles"]["clock"]["value"] == ""
    assert "name them with --wiring FILE" in ran.err
    assert "cannot tell" in Ran(path, "--rate", "1e6").out


def test_labelled_captures_show_channels_and_bit_order(tmp_path):
    options = []
    for rank, value in enumerate((3, 60, 200, 255)):
        now, events = 0, ["0,0,0,0,0"]
        for latch, word in (("1,0", value), ("0,1", 77)):
            for bit in f"{word:08b}":
                events += [f"{now + 100},{bit},0,0,0", f"{now + 500},{bit},1,0,0", f"{now + 900},{bit},0,0,0"]
                now += 1000
            events += [f"{now + 500},{bit},0,{latch}", f"{now + 900},{bit},0,0,0"]
            now += 3000
        path = write(tmp_path / f"{rank}.csv", "time_ns,a,b,c,d", events)
        options += ["--labelled", f"1:{rank}={path}"]
    ran = Ran(path, *options, "--json")
    assert ran.code == 0
    assert ran.json["roles"]["channels"] == [
        [1, {"value": "c", "confidence_ratio": 1.0, "evidence": ran.json["roles"]["channels"][0][1]["evidence"]}]
    ]
    assert ran.json["roles"]["first_bit"]["value"] == "most-significant"


@pytest.mark.parametrize(
    ("name", "content", "options", "words"),
    [
        ("a.txt", b"", (), "the name does not tell the format; allowed: .bin, .raw, .csv, .vcd, .glc, or --format"),
        ("a.bin", b"123", (), "packed samples need --rate HZ, the samples a second"),
        ("a.bin", b"", ("--rate", "1e6"), "packed samples: the file is empty; allowed is one byte a sample"),
        ("a.bin", b"1", ("--rate", "-1"), "packed samples: rate -1.0 Hz; allowed is a number above 0"),
        ("a.csv", b"", (), "CSV: the file ends with no head"),
        ("a.csv", b"x" * 3_000_000, (), "1:1 (line:column): got a line of more than 65536 bytes; allowed: rows of"),
        ("a.vcd", b"", (), "VCD: the definitions never end"),
        ("a.glc", b"GLC1", (), "allowed is b'GLC1' or b'GLC2' and a head of 16 bytes"),
        ("missing/a.csv", None, (), "cannot be read: No such file or directory; name a readable capture"),
    ],
)
def test_what_cannot_be_read_at_all(tmp_path, wiring, name, content, options, words):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    for more in (("--wiring", wiring), ()):
        ran = Ran(path, *more, *options)
        assert ran.code == 2
        assert words in ran.err
        assert "Traceback" not in ran.err


def test_wrong_options_and_files(tmp_path, wiring):
    path = tmp_path / "a.bin"
    path.write_bytes(samples().tobytes())
    ran = Ran(path, "--wiring", wiring, "--labelled", "1:2=x.csv")
    assert (ran.code, "--labelled is for finding roles" in ran.err) == (2, True)
    for label in ("1=x.csv", "1:2", "one:2=x.csv", "1:2="):
        ran = Ran(path, "--rate", "50e6", "--labelled", label)
        assert (ran.code, "allowed is CHANNEL:RANK=FILE" in ran.err) == (2, True)
    (tmp_path / "two.csv").write_text("time_s,a,b\n0,0,1\n")
    ran = Ran(path, "--rate", "50e6", "--labelled", f"1:2={tmp_path / 'two.csv'}")
    assert (ran.code, "allowed are the same ones; or name the lines with --wiring" in ran.err) == (2, True)
    ran = Ran(path, "--wiring", wiring, "--rate", "50e6", "--csv", tmp_path / "no" / "words.csv")
    assert (ran.code, "cannot be written: No such file or directory; name another file" in ran.err) == (3, True)


def test_wrong_wiring_files(tmp_path, wiring):
    capture = DATA / "three-wire-example.vcd"
    ran = Ran(capture, "--wiring", tmp_path / "none.toml")
    assert (ran.code, "a readable TOML file" in ran.err) == (2, True)
    path = tmp_path / "bad.toml"
    path.write_text(HEAD + BUS.replace('"clock"\n', '"tick"\n'))
    ran = Ran(capture, "--wiring", path)
    assert (ran.code, "missing: tick" in ran.err) == (2, True)
    path.write_text(HEAD + BUS.replace('clock = "clock"', 'clock = "data"'))
    ran = Ran(capture, "--wiring", path)
    assert (ran.code, "a bus that fits together" in ran.err) == (2, True)
    path.write_text(HEAD + BUS + '[bus.levels]\nfamily = "cmos"\n')
    ran = Ran(capture, "--wiring", path)
    assert (ran.code, 'supply_v, for family = "cmos"' in ran.err) == (2, True)
    device = (Path(__file__).parents[2] / "configs" / "devices" / "skerry-hr-4.toml").read_text()
    path.write_text(device[: device.index("[bus]")] + "[settle]" + device.partition("[settle]")[2])
    ran = Ran(capture, "--wiring", path)
    assert (ran.code, "bus: got nothing; allowed: a [bus] table" in ran.err) == (2, True)


def test_dump_without_the_lines_of_the_wiring(tmp_path, wiring):
    text = (DATA / "three-wire-example.vcd").read_text().replace("latch_bias", "strobe")
    path = tmp_path / "other.vcd"
    path.write_text(text)
    ran = Ran(path, "--wiring", wiring)
    assert ran.code == 2
    assert "line latch-bias is no signal" in ran.err


def test_unknown_clock_gives_what_came_before(tmp_path, wiring):
    text = (DATA / "three-wire-example.vcd").read_text()
    path = tmp_path / "x.vcd"
    path.write_text(text + '#200000\nx"\n')
    ran = Ran(path, "--wiring", wiring, "--json")
    assert ran.code == 3
    assert "line clock is unknown at 200000 ns" in ran.json["error"]


def test_block_that_no_adapter_can_hold(tmp_path, wiring, monkeypatch):
    monkeypatch.setattr(decode_feed, "LARGEST_BLOCK", 20)
    path = next(p for p, _ in in_every_form(tmp_path) if p.name == "adapter.glc")
    ran = Ran(path, "--wiring", wiring)
    assert (ran.code, "adapter block: more than 20 bytes; allowed is what an adapter can hold" in ran.err) == (2, True)


def test_volts_with_trouble_at_the_end_give_what_came_before(tmp_path, wiring, monkeypatch):
    monkeypatch.setattr(decode_feed, "TEXT_A_CHUNK", 20_000)
    lines = marginal_volts("3.2")
    path = write(tmp_path / "v.csv", "time_s," + ",".join(f"{line}_v" for line in LINES), [*lines, "nothing"])
    ran = Ran(path, "--wiring", wiring, "--json")
    assert (ran.code, ran.words) == (2, EXAMPLE_WORDS)
    assert ran.json["levels"][1]["automatic"]


class FullDisk:
    """A file on a disk without room."""

    def write(self, text):
        raise OSError(28, "No space left on device")

    def close(self):
        pass


@pytest.mark.parametrize("when", ["take", "finish"])
def test_full_disk_leaves_nothing_behind(tmp_path, wiring, monkeypatch, when):
    table = tmp_path / "words.csv"
    if when == "take":
        taken = decode_output.WordSink.take

        def take(sink, words):
            if len(words):
                sink._csv.close()
                sink._csv = FullDisk()
            taken(sink, words)

        monkeypatch.setattr(decode_output.WordSink, "take", take)
    else:
        monkeypatch.setattr(decode_output.os, "replace", lambda *_: FullDisk().write(""))
    ran = Ran(DATA / "three-wire-example.vcd", "--wiring", wiring, "--csv", table)
    assert ran.code == 3
    assert f"{table}: cannot be written: No space left on device; name another file" in ran.err
    assert [path.name for path in tmp_path.iterdir()] == ["wiring.toml"]
