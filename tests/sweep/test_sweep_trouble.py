"""Trouble with links: retried from source-off, recorded, and never a wrong number among the VALID ones."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from harness.bus import decode
from harness.errors import BenchError, LinkLost
from harness.values import Reading, ReadingStatus
from tests.sweep.spied_bench import SETUP, Rig, error_percent

VALID, RETRIED, INVALID = ReadingStatus.VALID, ReadingStatus.RETRIED, ReadingStatus.INVALID
EXCHANGES = {"source": 16, "device": 16, "adapter": 6}
"""More answers than one rung needs: see `test_the_loop_covers_more_than_a_rung`."""


def spoil_after_first_rung(bench: Rig, role: str, kind: str, after: int) -> None:
    bench.after = lambda done, reading: bench.link(role).misbehave(kind, after) if done == 1 else None


def check_record(bench: Rig) -> None:
    """Attempts in order, one final reading a rung, and no wrong number or word among the VALID ones."""
    assert [r.index for r in bench.readings] == list(range(len(bench.readings)))
    final = [r for r in bench.readings if r.status not in (RETRIED, ReadingStatus.RELEVELLED)]
    assert [r.setting for r in final] == [rung.setting for rung in bench.plan.rungs]
    for reading, rung in zip(final, bench.plan.rungs, strict=True):
        own = [r.attempt for r in bench.readings if r.setting == reading.setting]
        assert own == list(range(len(own)))
        if reading.status is VALID:
            assert abs(error_percent(reading, rung)) < 2.0, reading.setting
            check_word(reading, bench)


def check_word(reading: Reading, bench: Rig) -> None:
    wiring = SETUP.wiring
    assert wiring is not None
    if reading.capture is None:
        assert reading.capture_reason
        return
    expected = next(r.prediction.state.word for r in bench.plan.rungs if r.setting == reading.setting)
    word = decode(reading.capture, wiring).last(expected.latch)
    assert word is not None
    assert word.value == expected.value


@pytest.mark.parametrize("role", EXCHANGES)
def test_the_loop_covers_more_than_a_rung(rig: Any, role: str) -> None:
    bench = rig()
    answers: list[int] = []
    counted = [0]

    def hook(due: Any, link: Any) -> Any:
        counted[0] += 1
        return due

    bench.link(role).hooks.append(hook)
    bench.after = lambda done, reading: answers.append(counted[0])
    bench.sweep()
    assert answers[1] - answers[0] <= EXCHANGES[role]


@pytest.mark.parametrize("kind", ["silent", "truncated", "closed"])
@pytest.mark.parametrize("role", EXCHANGES)
def test_no_wrong_number_is_ever_valid_whatever_answer_is_spoiled(rig: Any, role: str, kind: str) -> None:
    for after in range(EXCHANGES[role]):
        bench = rig()
        spoil_after_first_rung(bench, role, kind, after)
        bench.sweep()
        check_record(bench)
        assert INVALID not in bench.statuses
        assert bench.statuses.count(VALID) == 4
        assert bench.statuses.count(RETRIED) == (0 if role == "adapter" else 1)
        assert bench.verbs[-1] == "source.safe_off"
        assert not bench.output_is_on()


@pytest.mark.parametrize("kind", ["silent", "truncated", "closed"])
@pytest.mark.parametrize("overlap", [False, True])
@pytest.mark.parametrize("role", ["source", "device"])
def test_no_wrong_number_is_ever_valid_where_questions_travel_together(
    rig: Any, role: str, overlap: bool, kind: str
) -> None:
    # Of a rung: the level (and the output) of the source; the setting, and the record with its codes, of the device.
    for after in range(2):
        bench = rig(together=True)
        spoil_after_first_rung(bench, role, kind, after)
        bench.sweep(overlap=overlap)
        check_record(bench)
        assert INVALID not in bench.statuses
        assert bench.statuses.count(VALID) == 4
        assert bench.statuses.count(RETRIED) == 1
        assert not bench.output_is_on()


@pytest.mark.parametrize(("role", "answers"), [("source", 26), ("device", 44)])
def test_no_wrong_number_is_ever_valid_when_an_answer_is_late_before_the_first_rung(
    rig: Any, role: str, answers: int
) -> None:
    # Preparing and the self-check take fewer answers than this; the trouble costs no reading.
    for after in range(answers):
        bench = rig()
        bench.link(role).misbehave("silent", after)
        bench.sweep()
        check_record(bench)
        assert INVALID not in bench.statuses
        assert bench.statuses.count(VALID) == 4
        assert bench.notebook.texts("retry") or bench.notebook.texts("self-check")[0].startswith("not completed: ")
        assert not bench.output_is_on()


def test_after_one_time_out_everything_is_set_anew_from_source_off(rig: Any) -> None:
    bench = rig()
    spoil_after_first_rung(bench, "device", "silent", 6)
    bench.sweep()
    assert bench.statuses == [VALID, RETRIED, VALID, VALID, VALID]
    failed = bench.readings[1]
    assert failed.reason.startswith("ReadTimeout: ")
    assert failed.setting == bench.readings[2].setting
    assert [failed.attempt, bench.readings[2].attempt] == [0, 1]
    assert bench.notebook.texts("retry") == [f"ch1 2V 70 %: {failed.reason}"]
    start = bench.verbs.index("source.safe_off")
    assert bench.verbs[start : start + 6] == [
        "source.safe_off", "source.resynchronise", "device.resynchronise",
        "source.prepare", "device.prepare", "source.set_frequency",
    ]  # fmt: skip
    again = bench.verbs[start + 6 :]
    order = [again.index(f"{role}.{verb}") for role, verb in (
        ("source", "output_off"), ("device", "select"), ("source", "set_level"), ("source", "output_on"),
        ("device", "acquire"),
    )]  # fmt: skip
    assert order == sorted(order)


def spoil_each(bench: Rig, role: str, kind: str, times: int) -> None:
    """Spoil the answer to the next acquisition of rung 2, again after each recovery."""
    left = [times]

    def before(call: Any) -> None:
        if call.role == role and call.verb == "acquire" and len(bench.readings) >= 1 and left[0]:
            left[0] -= 1
            bench.link(role).misbehave(kind, 0)

    bench.before = before


def test_a_reading_that_fails_thrice_is_invalid_and_the_sweep_goes_on(rig: Any) -> None:
    bench = rig()
    spoil_each(bench, "device", "silent", 3)
    bench.sweep()
    assert bench.statuses == [VALID, RETRIED, RETRIED, INVALID, VALID, VALID]
    assert [r.attempt for r in bench.readings] == [0, 0, 1, 2, 0, 0]
    assert bench.notebook.texts("invalid") == [f"ch1 2V 70 %: {bench.readings[3].reason}"]
    check_record(bench)


def test_without_retries_the_first_failure_is_the_last(rig: Any) -> None:
    bench = rig()
    spoil_each(bench, "device", "silent", 1)
    bench.sweep(retries=0)
    assert bench.statuses == [VALID, INVALID, VALID, VALID]


def test_nothing_of_an_earlier_rung_is_recorded_with_a_failed_one(rig: Any) -> None:
    # The link stays down through the recovery: the readings must not carry the record or words of the rung before.
    bench = rig()
    gone = [True]

    def broken(due: Any, link: Any) -> Any:
        link.broken = link.broken or gone[0]
        return None if gone[0] else due

    def after(done: int, reading: Reading) -> None:
        if done == 1:
            bench.link("device").hooks.append(broken)
        if done == 2:
            gone[0] = False

    bench.after = after
    bench.sweep()
    assert bench.statuses == [VALID, RETRIED, RETRIED, INVALID, VALID, VALID]
    for reading in bench.readings[1:4]:
        assert reading.waveform is None
        assert reading.capture is None
        assert reading.capture_reason == "the setting was not reached"
        assert reading.drive_read_vpk == 0.0
        assert reading.read_back == ()
    assert bench.readings[2].reason.startswith("LinkLost: ")
    check_record(bench)


def test_nothing_of_a_clipped_try_is_recorded_with_a_failed_one(rig: Any) -> None:
    bench = rig("relay-not-picking:1")
    bench.before = lambda call: (
        bench.link("source").misbehave("silent", 0)
        if call.verb == "set_level" and bench.statuses == [ReadingStatus.RELEVELLED]
        else None
    )
    bench.sweep()
    clipped, failed = bench.readings[:2]
    assert [clipped.status, failed.status] == [ReadingStatus.RELEVELLED, RETRIED]
    assert [clipped.attempt, failed.attempt] == [0, 1]
    assert clipped.waveform is not None
    assert failed.waveform is None
    assert failed.drive_set_vpk < clipped.drive_set_vpk
    assert failed.drive_read_vpk == 0.0


def always_broken(due: Any, link: Any) -> None:
    link.broken = True


@pytest.mark.parametrize("role", ["device", "source"])
def test_three_rungs_without_a_link_end_the_sweep(rig: Any, role: str) -> None:
    bench = rig()
    bench.after = lambda done, reading: bench.link(role).hooks.append(always_broken) if done == 1 else None
    with pytest.raises(LinkLost) as caught:
        bench.sweep()
    assert bench.statuses == [VALID] + 3 * [RETRIED, RETRIED, INVALID]
    assert str(caught.value).startswith("3 settings in a row had no working link, the last at ch2 50mV 40 %: LinkLost")
    assert "Check power and cables, then run `gainladder check` on the bench" in str(caught.value)
    notes = getattr(caught.value, "__notes__", [])
    assert [note.startswith("THE SOURCE MAY STILL BE ON: ") for note in notes] == ([True] if role == "source" else [])
    assert len(bench.notebook.texts("safe-state")) == len(notes)
    assert bench.verbs[-1] == "source.safe_off"


def test_two_lost_rungs_and_a_good_one_do_not(rig: Any) -> None:
    bench = rig()
    bench.after = lambda done, reading: (
        bench.link("device").hooks.append(always_broken) if done == 1
        else bench.link("device").hooks.clear() if done == 3 else None
    )  # fmt: skip
    bench.sweep()
    assert bench.statuses == [VALID] + 2 * [RETRIED, RETRIED, INVALID] + [VALID]


def test_a_source_that_cannot_be_switched_off_at_the_end_is_an_error(rig: Any) -> None:
    bench = rig()
    bench.after = lambda done, reading: bench.link("source").hooks.append(always_broken) if done == 4 else None
    with pytest.raises(BenchError, match="does not answer soundly after 3 tries"):
        bench.sweep()
    assert bench.statuses == [VALID] * 4
    assert bench.notebook.texts("safe-state")[0].startswith("THE SOURCE MAY STILL BE ON: ")


def test_one_failure_while_preparing_is_recovered_from(rig: Any) -> None:
    bench = rig()
    bench.link("device").misbehave("silent", 3)
    bench.sweep()
    assert bench.statuses == [VALID] * 4
    assert bench.notebook.texts("retry")[0].startswith("preparing the bench: ")


def test_a_bench_that_cannot_be_prepared_ends_the_sweep_before_its_first_rung(rig: Any) -> None:
    bench = rig()
    bench.link("device").hooks.append(always_broken)
    with pytest.raises(LinkLost, match="does not answer soundly"):
        bench.sweep()
    assert bench.readings == []
    assert bench.verbs[-1] == "source.safe_off"


def test_an_adapter_that_is_gone_costs_the_words_only_and_is_given_up(rig: Any) -> None:
    bench = rig()
    bench.link("adapter").hooks.append(always_broken)
    bench.sweep()
    assert bench.statuses == [VALID] * 4
    assert all(r.capture is None for r in bench.readings)
    # One failure in the self-check, two at the first rungs; then nobody asks again.
    assert "LinkLost" in bench.readings[0].capture_reason
    assert bench.readings[-1].capture_reason == ("the adapter was given up after 3 failures: check its power and cable")
    assert bench.verbs.count("adapter.resynchronise") == 3


def test_an_adapter_that_drops_events_costs_the_words_of_these_readings(rig: Any) -> None:
    bench = rig()
    bench.link("adapter")._instrument._capacity = 100
    bench.sweep()
    assert bench.statuses == [VALID] * 4
    assert all(r.capture is not None and r.capture.dropped > 0 for r in bench.readings)


def test_a_bench_without_an_adapter_says_so(rig: Any) -> None:
    bench = rig()
    bench.bench = dataclasses.replace(bench.bench, adapter=None)
    bench.sweep()
    assert bench.statuses == [VALID] * 4
    assert {r.capture_reason for r in bench.readings} == {"the bench has no adapter"}


def test_a_stale_record_is_read_again(rig: Any) -> None:
    bench = rig()

    answers = iter(range(3))

    def old_counter(due: Any, link: Any) -> Any:
        # An acquisition is answered by operation complete, an empty error queue, then the counter.
        if next(answers) < 2:
            return due
        link.hooks.remove(old_counter)
        return due[0], b"%d\n" % bench.readings[0].waveform.sequence

    def before(call: Any) -> None:
        if call.verb == "acquire" and len(bench.readings) == 1:
            bench.link("device").hooks.append(old_counter)

    bench.before = before
    bench.sweep()
    assert bench.statuses == [VALID, RETRIED, VALID, VALID, VALID]
    assert "stale record: the acquisition counter still stands at" in bench.readings[1].reason
    check_record(bench)


def test_what_stood_in_an_error_queue_is_kept_with_the_try_that_it_ended(rig: Any) -> None:
    bench = rig()

    def before(call: Any) -> None:
        if call.verb == "acquire" and len(bench.readings) == 1:
            bench.link("device").write(b"NONSENSE\n")

    bench.before = before
    bench.sweep()
    assert bench.statuses == [VALID, RETRIED, VALID, VALID, VALID]
    (message,) = bench.readings[1].messages
    assert "-113" in message
    assert message in bench.readings[1].reason
    assert all(reading.messages == () for reading in bench.readings if reading.status is VALID)
    check_record(bench)


def test_what_it_took_to_mend_a_link_is_in_the_journal(rig: Any) -> None:
    bench = rig()
    spoil_after_first_rung(bench, "device", "closed", 3)
    bench.sweep()
    assert bench.notebook.texts("link") == ["source: cleared, try 1", "device: reopened, try 1"]


class Pulse:
    """Signs of life, and whether the source was on at each rest."""

    def __init__(self, bench: Rig) -> None:
        self.bench = bench
        self.said: list[str] = []

    def beat(self) -> None:
        self.said.append("beat")

    def rest(self) -> None:
        assert not self.bench.output_is_on()
        self.said.append("rest")


def test_signs_of_life_come_with_every_step_and_rest_only_with_the_source_off(rig: Any) -> None:
    bench = rig()
    pulse = Pulse(bench)
    bench.bench = dataclasses.replace(bench.bench, heartbeat=pulse)
    spoil_after_first_rung(bench, "device", "closed", 3)
    bench.sweep()
    # The four rungs select and acquire, the third try of one is mended in between.
    assert pulse.said.count("beat") >= 2 * 4
    assert pulse.said.count("rest") == 2
    assert pulse.said[-1] == "rest"


def test_a_sweep_that_breaks_off_rests_too(rig: Any) -> None:
    bench = rig()
    pulse = Pulse(bench)
    bench.bench = dataclasses.replace(bench.bench, heartbeat=pulse)
    bench.stop = lambda: True
    with pytest.raises(KeyboardInterrupt):
        bench.sweep()
    assert pulse.said[-1] == "rest"
