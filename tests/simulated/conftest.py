from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from harness.config import BenchFile, parse
from harness.simulated import JumpClock, build_world

BENCHES = Path(__file__).parents[2] / "configs" / "benches"
EPOCH = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)


def bench_file(change=lambda text: text, name="simulated.toml"):
    return parse(BenchFile, change((BENCHES / name).read_text("utf-8")), file=name)


class Desk:
    """A bench in memory with a link to each instrument, and short ways to use them."""

    def __init__(self, *faults, seed=1, change=lambda text: text, clock=None, bench="simulated.toml"):
        self.clock = clock or JumpClock(epoch=EPOCH)
        self.world = build_world(bench_file(change, bench), seed=seed, faults=faults, clock=self.clock, file=bench)
        self.links = {role: self.world.link(role) for role in self.world.instruments}

    def tell(self, role, *messages):
        for message in messages:
            self.links[role].write(message.encode() + b"\n")

    def ask(self, role, message):
        self.tell(role, message)
        return self.links[role].read_line().decode("latin-1")

    def errors(self, role):
        """Codes of the drained error queue."""
        codes = []
        while code := int(self.ask(role, "SYST:ERR?").split(",")[0]):
            codes.append(code)
        return codes

    def block(self, role, message):
        self.tell(role, message)
        link = self.links[role]
        digits = int(link.read_exactly(2)[1:])
        payload = link.read_exactly(int(link.read_exactly(digits)))
        assert link.read_exactly(1) == b"\n"
        return payload

    def drive(self, vpp):
        self.tell("source", f"OUTP:LOAD INF;:FREQ 2125;:VOLT {vpp!r};:OUTP ON")
        assert self.ask("source", "*OPC?") == "1"

    def select(self, channel, full_scale_vpp, percent):
        self.tell("device", f"INP{channel}:RANG {full_scale_vpp};FINE {percent}")
        assert self.ask("device", "*OPC?") == "1"

    def codes(self, channel=1):
        self.tell("device", f"ACQ:CHAN {channel};:INIT")
        assert self.ask("device", "*OPC?") == "1"
        return np.frombuffer(self.block("device", "FETC:CODE?"), "<i2")

    def gain(self, channel=1, *, vpp, cycles=17):
        """Codes a volt at the terminals the source was set to, by an independent least-squares fit."""
        return amplitude(self.codes(channel), cycles) / (vpp / 2.0)

    def truth(self, channel=1):
        return self.world.device.front_ends[channel].gain_codes_per_v()


def amplitude(codes, cycles=17):
    angle = 2.0 * np.pi * cycles * np.arange(len(codes)) / len(codes)
    basis = np.column_stack([np.sin(angle), np.cos(angle), np.ones(len(codes))])
    fit = np.linalg.lstsq(basis, codes.astype(float), rcond=None)[0]
    return float(np.hypot(fit[0], fit[1]))


@pytest.fixture
def desk():
    return Desk()


@pytest.fixture
def make_desk():
    return Desk


@pytest.fixture
def make_bench():
    return bench_file
