"""Stations of a board whose words set everything: the adapter and the start of a record tell what gains do not."""

from __future__ import annotations

import pytest

from tests.faults.trial import trial


@pytest.mark.parametrize("fault", ["cables-swapped", "settle-too-short=4", "settle-too-short=2"])
def test_the_station_is_locked_and_the_board_not_blamed(fault: str) -> None:
    ended = trial("tarn-vg-1", (fault,), seed=2)
    assert (ended.outcome, ended.named[0]) == ("LOCKED", fault.split("=")[0])


def test_crossed_latches_are_the_boards_and_the_adapter_says_so() -> None:
    ended = trial("tarn-vg-1", ("latches-crossed",), seed=2)
    assert ended.outcome == "FAIL"
    assert "latches-crossed" in ended.named


@pytest.mark.parametrize(
    ("device", "fault"), [("tarn-vg-1", "latch-broadcast"), ("corrie-ur-2", "chain-wrong-device")]
)
def test_a_right_word_with_too_many_edges_fails(device: str, fault: str) -> None:
    ended = trial(device, (fault,), seed=2)
    assert (ended.outcome, fault in ended.named) == ("FAIL", True)
    assert "word" in ended.how


def test_a_register_that_is_reset_before_a_record_makes_no_interpolated_record() -> None:
    assert trial("corrie-ur-2", ("register-reset-mid-run",), seed=11).outcome == "FAIL"


@pytest.mark.parametrize(
    ("device", "fault"),
    [
        ("tarn-vg-1", "register-reset-mid-run:2@37"),
        ("tarn-vg-1", "extra-clock-edge:2=0.23"),
        ("corrie-ur-2", "relay-settles-late=0.4"),
        ("corrie-ur-2", "settle-too-short=3"),
    ],
)
def test_what_comes_now_and_then_or_late_is_named(device: str, fault: str) -> None:
    assert trial(device, (fault,), seed=1).names(fault.split("=")[0].split(":")[0])
