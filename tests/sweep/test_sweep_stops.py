"""What ends a sweep at once: always with the source off, with what was measured on record."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from harness.errors import RefusedUnsafe, StationFault, StoreUnavailable, WrongInstrument
from harness.values import ReadingStatus
from tests.sweep.spied_bench import Rig

VALID, INVALID = ReadingStatus.VALID, ReadingStatus.INVALID


def check_stopped(bench: Rig) -> None:
    assert bench.verbs[-1] == "source.safe_off"
    assert not bench.output_is_on()
    assert [r.index for r in bench.readings] == list(range(len(bench.readings)))


def test_a_level_above_the_limit_is_refused_recorded_and_ends_the_sweep(rig: Any) -> None:
    bench = rig()
    first, second, *others = bench.plan.rungs
    bench.plan = dataclasses.replace(bench.plan, rungs=(first, dataclasses.replace(second, drive_vpk=11.0), *others))
    with pytest.raises(RefusedUnsafe, match="refused 11 V peak, 11 V peak with the load gone"):
        bench.sweep()
    assert bench.statuses == [VALID, INVALID]
    assert bench.readings[-1].reason.startswith("RefusedUnsafe: ")
    assert bench.readings[-1].drive_read_vpk == 0.0
    check_stopped(bench)


def answer_instead(bench: Rig, role: str, old: bytes, new: bytes) -> None:
    bench.link(role).hooks.append(lambda due, link: (due[0], due[1].replace(old, new)))


@pytest.mark.parametrize(("role", "maker"), [("device", b"Skerry"), ("source", b"Machair"), ("adapter", b"Strath")])
def test_another_instrument_at_the_address_ends_the_sweep(rig: Any, role: str, maker: bytes) -> None:
    bench = rig()

    def after(done: int, reading: Any) -> None:
        if done == 1:
            answer_instead(bench, role, maker, b"Fell")
            bench.link(role).misbehave("silent", 0)

    bench.after = after
    with pytest.raises(WrongInstrument, match=r"Fell .* answers; the bench file wants") as caught:
        bench.sweep()
    assert bench.statuses[0] is VALID
    assert bench.statuses[-1] is INVALID
    assert bench.readings[-1].reason.startswith("WrongInstrument: ")
    check_stopped(bench)
    # A foreign source is told to switch off, but it cannot vouch for the one that is missing.
    notes = getattr(caught.value, "__notes__", [])
    assert notes == [] or role == "source"


def test_a_load_that_changes_in_mid_run_is_a_station_fault_noted_and_raised(rig: Any) -> None:
    bench = rig()

    def after(done: int, reading: Any) -> None:
        if done == 1:
            answer_instead(bench, "source", b"9.9E+37", b"50")
            bench.link("device").misbehave("silent", 0)

    bench.after = after
    with pytest.raises(StationFault, match="the load reads back as 50 Ω; the bench file wants high-z"):
        bench.sweep()
    assert bench.statuses == [VALID, ReadingStatus.RETRIED, INVALID]
    assert bench.notebook.texts("station-fault")[0].startswith("source-load-mis-set: Machair SG-1")
    check_stopped(bench)


def test_a_mis_set_load_at_the_start_stops_before_any_level(rig: Any) -> None:
    bench = rig("source-load-mis-set")
    with pytest.raises(StationFault):
        bench.sweep()
    assert bench.readings == []
    assert "source.set_level" not in bench.verbs
    check_stopped(bench)


@pytest.mark.parametrize("full_at", [0, 1, 3])
def test_a_full_store_ends_the_sweep_and_only_what_is_durable_counts(rig: Any, full_at: int) -> None:
    bench = rig("relay-not-picking:1")
    bench.notebook.full_at = full_at
    told = []
    bench.after = lambda done, reading: told.append(reading.index)
    with pytest.raises(StoreUnavailable, match="the disk is full"):
        bench.sweep()
    assert len(bench.readings) == full_at
    assert all(index < full_at for index in told)
    check_stopped(bench)


def test_a_full_store_and_a_deaf_source_are_both_told(rig: Any) -> None:
    bench = rig()

    def after(done: int, reading: Any) -> None:
        bench.notebook.full_at = 1
        bench.link("source").hooks.append(lambda due, link: setattr(link, "broken", True))

    bench.after = after
    with pytest.raises(StoreUnavailable, match="the disk is full") as caught:
        bench.sweep()
    assert caught.value.__notes__[0].startswith("THE SOURCE MAY STILL BE ON: Machair SG-1")
    assert bench.notebook.texts("safe-state") == []


def test_the_stop_key_ends_the_sweep_between_rungs(rig: Any) -> None:
    bench = rig()
    bench.stop = lambda: len(bench.readings) == 2
    with pytest.raises(KeyboardInterrupt):
        bench.sweep()
    assert bench.statuses == [VALID, VALID]
    check_stopped(bench)


def test_an_interrupt_at_any_call_leaves_the_source_off(rig: Any) -> None:
    healthy = rig()
    healthy.sweep()
    for place in range(len(healthy.calls) - 1):
        bench = rig()

        def before(call: Any, bench: Rig = bench, place: int = place) -> None:
            if len(bench.calls) == place + 1:
                raise KeyboardInterrupt

        bench.before = before
        with pytest.raises(KeyboardInterrupt):
            bench.sweep()
        check_stopped(bench)
        assert set(bench.statuses) <= {VALID}


def test_an_interrupt_within_an_exchange_leaves_the_source_off(rig: Any) -> None:
    # The answer is under way when the key is pressed: the link is suspect, and the source must go off all the same.
    for after in range(3):
        bench = rig()

        def pressed(due: Any, link: Any, left: list[int], bench: Rig) -> Any:
            left[0] -= 1
            if left[0] < 0 and len(bench.readings) == 1:
                link.hooks.clear()
                raise KeyboardInterrupt
            return due

        left = [after]
        bench.after = lambda done, reading, bench=bench, left=left: bench.link("source").hooks.append(
            lambda due, link: pressed(due, link, left, bench)
        )
        with pytest.raises(KeyboardInterrupt):
            bench.sweep()
        check_stopped(bench)
