"""Captures that the simulated benches write: every word comes back, with a device file and without hints."""

from __future__ import annotations

import datetime as dt
import io
import json
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import numpy as np
import pytest

from harness.app.main import main
from harness.config import BenchFile, DeviceFile, parse
from harness.simulated import JumpClock, build_world

CONFIGS = Path(__file__).parents[2] / "configs"
BENCHES = {
    "skerry-hr-4": "simulated.toml",
    "tarn-vg-1": "simulated-tarn-vg-1.toml",
    "corrie-ur-2": "simulated-corrie-ur-2.toml",
}


def device_file(name):
    path = CONFIGS / "devices" / f"{name}.toml"
    return path, parse(DeviceFile, path.read_text("utf-8"), file=path.name)


class Bench:
    """A simulated bench whose adapter listens to words that it loads itself."""

    def __init__(self, name, seed):
        file = BENCHES[name]
        bench = parse(BenchFile, (CONFIGS / "benches" / file).read_text("utf-8"), file=file)
        self.clock = JumpClock(epoch=dt.datetime(2026, 1, 1, tzinfo=dt.UTC))
        world = build_world(bench, seed=seed, faults=(), clock=self.clock, file=file)
        self.adapter = world.instruments["adapter"]

    def load(self, words):
        assert self.adapter.handle(b"ARM\n") == b"OK\n"
        for latch, bits, value in words:
            assert self.adapter.handle(f"LOAD {latch} {bits} {value:x}\n".encode()) == b"OK\n"
            self.clock.sleep(0.001)
        return self.adapter.handle(b"FETCH?\n")


def decoded(*arguments):
    out, err, before = io.StringIO(), io.StringIO(), sys.argv
    sys.argv = ["gainladder", "decode", *map(str, arguments), "--json"]
    try:
        with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as stop:
            main()
    finally:
        sys.argv = before
    return int(stop.value.code or 0), json.loads(out.getvalue())


@pytest.mark.parametrize("name", list(BENCHES))
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_words_come_back_from_every_device(tmp_path, name, seed):
    path, device = device_file(name)
    rng = np.random.default_rng(seed)
    words = [
        (member.latch, member.bits, int(rng.integers(0, 2**member.bits)))
        for _ in range(8)
        for member in device.bus.on_bus
    ]
    capture = tmp_path / "adapter.glc"
    capture.write_bytes(Bench(name, seed).load(words))
    code, content = decoded(capture, "--wiring", path)
    assert code == 0, content["findings"]
    assert [(w["latches"], w["bits"], w["value"], w["note"]) for w in content["words"]] == [
        ([latch], bits, value, "") for latch, bits, value in words
    ]
    # Without hints: pulses between clock edges are glitches of data, which the roles bear.
    code, content = decoded(capture)
    assert [(w["bits"], w["value"]) for w in content["words"]] == [(bits, value) for _, bits, value in words]
    roles = content["roles"]
    assert (roles["data"]["value"], roles["clock"]["value"]) == ("line-0", "line-1")
    assert roles["clock_edge"]["value"] == "rising"
    assert {latch["value"] for latch in roles["latches"]} == {f"line-{k + 2}" for k in range(len(device.bus.on_bus))}


@pytest.mark.parametrize("name", ["skerry-hr-4", "tarn-vg-1"])
def test_channels_are_found_by_moving_one_at_a_time(tmp_path, name):
    _, device = device_file(name)
    members = [member for member in device.bus.on_bus if member.channel is not None]
    held = {member.latch: (5 * k + 3, member.bits) for k, member in enumerate(members)}
    options, bench = [], Bench(name, 4)
    for member in members:
        for rank, value in enumerate((9, 60, 131, 200)):
            held[member.latch] = (value, member.bits)
            path = tmp_path / f"{member.channel}-{rank}.glc"
            path.write_bytes(bench.load([(latch, bits, value) for latch, (value, bits) in held.items()]))
            options += ["--labelled", f"{member.channel}:{rank}={path}"]
    _, content = decoded(path, *options)
    roles = content["roles"]
    found = {channel: answer["value"] for channel, answer in roles["channels"]}
    lines = device.bus.lines
    assert found == {member.channel: f"line-{lines.index(member.latch)}" for member in members}
    assert roles["first_bit"]["value"] == "most-significant", roles["first_bit"]["evidence"]
