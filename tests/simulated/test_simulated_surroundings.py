"""Chamber, supply and probe at the byte link; the lags in closed form against a plain integration."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from harness.config import BenchFile, parse
from harness.simulated import JumpClock, build_world
from harness.simulated.soak import Feed, Soak

ROOT = Path(__file__).resolve().parents[2]
BENCH = parse(BenchFile, (ROOT / "configs/benches/simulated-night.toml").read_text(), file="bench")


@pytest.fixture
def world() -> Any:
    return build_world(BENCH, seed=1, faults=(), clock=JumpClock(), file="bench", serial="N1")


def ask(world: Any, role: str, message: str) -> str:
    return world.instruments[role].handle(message.encode() + b"\n").decode().strip()


@pytest.mark.parametrize("unit_tau_s", [100.0, 300.0, 900.0])
def test_air_and_unit_follow_as_an_integration_says(unit_tau_s: float) -> None:
    soak = Soak(23.0, air_tau_s=300.0, unit_tau_s=unit_tau_s, began_s=0.0)
    air = unit = 23.0
    step_s = 0.05
    targets = {0: 50.0, 400: -10.0}
    target = 23.0
    for number in range(int(1500 / step_s)):
        now_s = number * step_s
        if now_s in targets:
            target = targets[int(now_s)]
            soak.move(target, now_s=now_s)
        unit += step_s * (air - unit) / unit_tau_s
        air += step_s * (target - air) / 300.0
    assert soak.air_c(1500.0) == pytest.approx(air, abs=0.02)
    assert soak.unit_c(1500.0) == pytest.approx(unit, abs=0.05)


def test_a_feed_changes_the_gain_by_its_coefficient() -> None:
    feed = Feed(nominal_v=12.0, gain_percent_per_v=0.5)
    assert feed.gain_ratio == 1.0
    feed.voltage = lambda: 10.0
    assert feed.gain_ratio == pytest.approx(0.99)


def test_the_probe_reads_the_unit_that_follows_the_chamber(world: Any) -> None:
    # 23 °C, and 0.1 K that the probe reads too high; the unit's own 4 K come with 900 s.
    assert float(ask(world, "probe", "MEAS:TEMP?")) == pytest.approx(23.1, abs=0.01)
    ask(world, "chamber", "TEMP 50")
    assert ask(world, "chamber", "TEMP:ACT?") == "23.00", "switched off it does nothing"
    ask(world, "chamber", "OUTP ON")
    world.clock.sleep(240.0)
    # One time constant: 1/e is left.
    assert float(ask(world, "chamber", "TEMP:ACT?")) == pytest.approx(50.0 - 27.0 * 0.3679, abs=0.02)
    world.clock.sleep(20_000.0)
    assert float(ask(world, "probe", "MEAS:TEMP?")) == pytest.approx(54.1, abs=0.01)
    ask(world, "chamber", "*RST")
    world.clock.sleep(20_000.0)
    assert float(ask(world, "chamber", "TEMP:ACT?")) == pytest.approx(23.0, abs=0.01)


def test_the_supply_feeds_the_unit_with_constant_power(world: Any) -> None:
    assert ask(world, "supply", "MEAS:CURR?") == "0.0000"
    ask(world, "supply", "VOLT 10.8;:OUTP ON")
    assert float(ask(world, "supply", "MEAS:VOLT?")) == 10.8
    assert float(ask(world, "supply", "MEAS:CURR?")) == pytest.approx(12.0 * 0.4 / 10.8, abs=1e-4)
    assert world.around.supply.voltage() == 10.8
    ask(world, "supply", "VOLT 0")
    assert ask(world, "supply", "SYST:ERR?").startswith("-222")
    ask(world, "supply", "VOLT 31")
    assert ask(world, "supply", "SYST:ERR?").startswith("-222")
    ask(world, "supply", "*RST")
    assert world.around.supply.voltage() == 12.0


def test_a_bench_without_them_has_none() -> None:
    plain = parse(BenchFile, (ROOT / "configs/benches/simulated.toml").read_text(), file="bench")
    there = build_world(plain, seed=1, faults=(), clock=JumpClock(), file="bench")
    assert set(there.instruments) == {"source", "device", "adapter"}
