"""The self-check beyond the level: exchanged cables, waits too short, a worn contact; and what is none of these."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest

from harness.errors import StationFault
from harness.sweep.checks import contact, waits
from harness.sweep.hands import Hands
from harness.sweep.journal import Journal
from harness.sweep.self_check import self_check
from tests.sweep.spied_bench import PLAN, Rig, rungs_at

EVERY = rungs_at(*((channel, coarse, fine) for channel in (1, 2) for coarse, fine in ((0, 0), (3, 0), (9, 20))))


def check(bench: Rig, **changes: Any) -> bool:
    plan = dataclasses.replace(bench.plan, **changes)
    hands = Hands(bench.bench, plan)
    hands.prepare()
    try:
        return self_check(hands, plan, Journal(bench.notebook))
    finally:
        bench.bench.source.safe_off()


@pytest.mark.parametrize(
    ("fault", "named", "also", "said"),
    [
        ("cables-swapped", "cables-swapped", (), "channels 1 and 2 are exchanged: swap them back at the"),
        ("settle-too-short=5", "settle-too-short", ("relay-settles-late",), "make [settle] coarse_s of the device"),
        ("fixture-worn=0.3", "fixture-worn", (), "reseat the unit, clean or renew the contacts"),
        ("probe-factor-wrong=10", "probe-factor-wrong", None, "pads and probe factor, then run again"),
        ("probe-factor-wrong=1000", "unit-mix-up", None, "all channels are off by ×99"),
        ("pad-wrong=20", "pad-wrong", None, "pads and probe factor, then run again"),
    ],
)
def test_the_station_is_named_with_what_to_do(
    rig: Any, fault: str, named: str, also: tuple[str, ...] | None, said: str
) -> None:
    bench = rig(fault, rungs=EVERY)
    with pytest.raises(StationFault) as caught:
        check(bench)
    assert caught.value.fault == named
    assert also is None or caught.value.also == also
    assert said in str(caught.value)
    assert not bench.output_is_on()


@pytest.mark.parametrize(
    "fault",
    [
        "cables-swapped=3,4",          # channels that are not in the ladder
        "latches-crossed",             # words change places, relays do not
        "latch-broadcast",
        "settle-too-short=7.5",        # at the threshold
        "relay-settles-late:1=0.2",    # one channel alone: its relays
        "relay-settles-late:2=0.2",
        "slow-settling=3",             # creeps on and on
        "fixture-worn=0.06",           # at the threshold
        "relay-contact-film=0.3",      # no relay moves in the check
        "intermittent-joint=0.1",      # jumps
        "excess-noise=10",             # scatters without switching as well
        "mains-or-supply-line=-30",
    ],
)  # fmt: skip
def test_nobody_else_is_taken_for_the_station(rig: Any, fault: str) -> None:
    check(rig(fault, rungs=EVERY))


def test_one_channel_alone_may_be_slow_by_itself(rig: Any) -> None:
    assert check(rig("settle-too-short=5", rungs=[rung for rung in EVERY if rung.setting.channel == 1]))


def test_cables_are_not_told_from_latches_where_words_say_all(rig: Any) -> None:
    # Without the setting at rest, with the same relays as at rest, and with words that drive relays.
    for rungs in (EVERY[1:3] + EVERY[4:], rungs_at(*((c, r, 0) for c in (1, 2) for r in (0, 1, 2)))):
        # A record of a channel at rest is as predicted at the range of rest: nothing is proven wrong, nobody is named.
        check(rig("cables-swapped", rungs=rungs))
    bus = PLAN.device.bus
    assert bus is not None
    relay = bus.layout[0].model_copy(update={"control": None, "relay": "K1", "bits": 1})
    device = PLAN.device.model_copy(update={"bus": bus.model_copy(update={"layout": (*bus.layout, relay)})})
    check(rig("cables-swapped", rungs=EVERY), device=device)


def test_a_unit_without_a_bus_tells_cables_by_all_its_controls(rig: Any) -> None:
    with pytest.raises(StationFault, match="exchanged"):
        check(rig("cables-swapped", rungs=EVERY), device=PLAN.device.model_copy(update={"bus": None}))


def test_without_another_range_the_waits_are_not_looked_at(rig: Any) -> None:
    bench = rig(rungs=rungs_at((1, 3, 0), (2, 3, 0)))
    assert check(bench)
    assert "waiting longer" not in bench.notebook.texts("self-check")[0]


def test_a_healthy_bench_says_how_still_it_is(rig: Any) -> None:
    bench = rig(rungs=EVERY)
    assert check(bench)
    said = bench.notebook.texts("self-check")[0]
    moved, span = (float(part.split()[index]) for part, index in zip(said.split("; ")[1:], (2, 1), strict=True))
    assert abs(moved) < 0.1 * waits.LATE_PERCENT
    assert 0.0 < span < contact.QUIET_PERCENT


def test_a_contact_without_records_says_nothing(rig: Any) -> None:
    bench = rig(rungs=EVERY)
    device = bench._instruments["device"]
    acquire, seen = device.acquire, []

    def acquired(channel: int, *meanwhile: Any) -> Any:
        wave = acquire(channel, *meanwhile)
        seen.append(channel)
        # All after the level check: nothing but zero.
        return wave if len(seen) <= 2 else dataclasses.replace(wave, codes=wave.codes * 0)

    device.acquire = acquired
    assert check(bench)
    assert "moved" not in bench.notebook.texts("self-check")[0]
    assert "span" not in bench.notebook.texts("self-check")[0]


def test_scatter_leaves_jumps_out() -> None:
    # Half the mean square of successive differences: of 1, 3, 1 it is 2; of a slow ramp next to nothing.
    assert contact._scatter([1.0, 3.0, -400.0, 1.0]) == pytest.approx(math.sqrt(2.0))
    assert contact._scatter([0.01 * step for step in range(8)]) == pytest.approx(0.01 / math.sqrt(2.0))
    assert contact._scatter([]) == contact._scatter([5.0]) == 0.0
    assert contact._together([3.0, 4.0]) == pytest.approx(5.0 / math.sqrt(2.0))
