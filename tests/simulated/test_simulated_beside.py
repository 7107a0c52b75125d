"""A second source on a channel of its own: what it drives, what the other channels hear of it."""

from __future__ import annotations

import numpy as np
import pytest

from harness.simulated.build import _truths
from tests.simulated.conftest import Desk, bench_file

TWO = "simulated-two-sources.toml"
HZ, RATE_HZ, SAMPLES = 2875.0, 500.0e3, 4000


def amplitude(codes: np.ndarray, hertz: float) -> float:
    """Projection on a sine of a whole number of cycles: closed form."""
    turns = np.exp(2j * np.pi * hertz * np.arange(codes.size) / RATE_HZ)
    return 2.0 * abs(complex(codes @ turns)) / codes.size


def driven(*faults: str, vpp: float = 16.0, change=lambda text: text) -> Desk:
    desk = Desk(*faults, bench=TWO, change=change)
    desk.tell("device", f"ACQ:POIN {SAMPLES};SRAT {RATE_HZ}")
    desk.select(4, 20, 100)
    desk.select(1, 0.02, 40)
    desk.tell("aggressor", f"OUTP:LOAD INF;:FREQ {HZ};:VOLT {vpp};:OUTP ON")
    assert desk.ask("aggressor", "*OPC?") == "1"
    return desk


def test_both_benches_have_the_same_truth() -> None:
    one, two = (_truths(bench.simulation, bench.name) for bench in (bench_file(), bench_file(name=TWO)))
    assert one[1] == two[1]
    assert one[0].source == two[0].source
    assert two[0].aggressor == two[0].source.model_copy(update={"serial": "MA000002"})


def test_the_second_source_reaches_its_channel_and_the_first_all_others() -> None:
    desk = driven()
    # 8 V peak on 205.8 codes/V: 1646 codes; good parts and sources lie within 1 percent.
    assert amplitude(desk.codes(4), HZ) == pytest.approx(8.0 * 205.8, rel=0.01)
    desk.drive(0.01)
    assert amplitude(desk.codes(4), 2125.0) < 0.1
    assert amplitude(desk.codes(1), 2125.0) == pytest.approx(0.005 * 512000, rel=0.35)


@pytest.mark.parametrize(
    ("faults", "percent"), [((), 0.02), (("channel-crosstalk:1=-40",), 1.02), (("channel-crosstalk:2=-40",), 0.02)]
)
def test_a_victim_hears_the_share_that_couples(faults: tuple[str, ...], percent: float) -> None:
    desk = driven(*faults)
    own = amplitude(desk.codes(4), HZ)
    heard = [100.0 * amplitude(desk.codes(1), HZ) / own for _ in range(4)]
    # Noise of 1.6 codes rms leaves 0.05 of 1646 codes in one record.
    assert float(np.mean(heard)) == pytest.approx(percent, abs=0.008)


def test_what_couples_is_set_by_the_bench_file_and_stops_with_the_source() -> None:
    desk = driven(change=lambda text: text + "\n[simulation.unit]\ncrosstalk_percent = 0.5\n")
    own = amplitude(desk.codes(4), HZ)
    assert amplitude(desk.codes(1), HZ) / own == pytest.approx(0.005, abs=1e-4)
    desk.tell("aggressor", "OUTP OFF")
    assert desk.ask("aggressor", "*OPC?") == "1"
    assert amplitude(desk.codes(1), HZ) < 0.3
