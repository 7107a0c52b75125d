"""Readings beside the ladder on the bench: levels, frequencies, detours, the second source; safe on every way out."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Iterator

import pytest

from harness.app.bench_open import open_bench
from harness.app.run import plan_of
from harness.app.setup import read_setup
from harness.errors import ReadTimeout, RefusedUnsafe
from harness.values import Purpose, ReadingStatus, Rung, Setting
from tests.sweep.spied_bench import JOB, Call, Rig, amplitude_code

SETUP = read_setup(JOB.replace("ci.toml", "validation.toml"))
PLAN = plan_of(SETUP)


@contextlib.contextmanager
def rig_of(*extras: Rung, ladder: int = 3, faults: tuple[str, ...] = ()) -> Iterator[Rig]:
    with open_bench(SETUP.bench, SETUP.device, transport="in-process", seed=1, faults=faults) as opened:
        rig = Rig(opened.bench, SETUP.rungs[:ladder])
        rig.plan = dataclasses.replace(PLAN, rungs=SETUP.rungs[:ladder], extras=extras)
        yield rig


def extras(purpose: Purpose, channel: int = 1) -> list[Rung]:
    return [rung for rung in SETUP.extras if rung.purpose is purpose and rung.setting.channel == channel]


def since_ladder(rig: Rig) -> list[Call]:
    """Calls behind the last record of the ladder."""
    last = [i for i, call in enumerate(rig.calls) if call.verb == "acquire"][-len(rig.plan.extras) - 1]
    return rig.calls[last + 1 :]


def told(calls: list[Call], role: str, verb: str) -> list[object]:
    return [call.arguments[0] if call.arguments else None for call in calls if (call.role, call.verb) == (role, verb)]


def test_each_level_is_taken_once_and_never_moved() -> None:
    low, high = extras(Purpose.TWO_LEVEL)[:2]
    # Fill 0.4 lies below what the ladder allows; a ladder would have levelled it.
    assert low.fill_ratio < PLAN.fill_low
    with rig_of(low, high) as rig:
        rig.sweep()
    taken = rig.readings[-2:]
    assert [r.purpose for r in taken] == [Purpose.TWO_LEVEL] * 2
    assert [r.drive_set_vpk for r in taken] == [low.drive_vpk, high.drive_vpk]
    assert [r.status for r in taken] == [ReadingStatus.VALID] * 2
    assert amplitude_code(taken[1]) / amplitude_code(taken[0]) == pytest.approx(2.0, rel=2e-3)
    assert [r.index for r in rig.readings] == list(range(5))


def test_the_frequency_goes_back_before_anything_else() -> None:
    pair = extras(Purpose.SECOND_FREQUENCY)[:2]
    with rig_of(*pair, extras(Purpose.QUIET)[0]) as rig:
        rig.sweep()
    here, there, quiet = rig.readings[-3:]
    assert (here.frequency_hz, there.frequency_hz, quiet.frequency_hz) == (2125.0, 99875.0, 2125.0)
    assert told(since_ladder(rig), "source", "set_frequency") == [99875.0, 2125.0]


def test_the_source_is_off_for_a_quiet_reading() -> None:
    with rig_of(*extras(Purpose.QUIET)[:2]) as rig:
        on: list[bool] = []

        def look(call: Call) -> None:
            if call.verb == "acquire":
                on.append(rig.output_is_on())

        rig.before = look
        rig.sweep()
    assert on[-2:] == [False, False]
    assert on[-3] is True
    for reading in rig.readings[-2:]:
        assert (reading.drive_set_vpk, reading.drive_read_vpk) == (0.0, 0.0)
        assert amplitude_code(reading) < 0.1


def test_a_toggled_repeat_goes_away_and_back_with_the_source_off_and_an_untouched_one_stays() -> None:
    still, moved = extras(Purpose.REPEAT)[:3], extras(Purpose.REPEAT_TOGGLED)[:2]
    with rig_of(*still, *moved) as rig:
        on_at_select: list[tuple[Setting, bool]] = []

        def look(call: Call) -> None:
            if call.verb == "select":
                on_at_select.append((call.arguments[0], rig.output_is_on()))

        rig.before = look
        rig.sweep()
    calls = since_ladder(rig)
    place, away = moved[0].setting, moved[0].via
    assert told(calls, "device", "select") == [place, place, place, away, place, away, place]
    # Only the repeats that change nothing leave the output on.
    assert [on for _, on in on_at_select[-7:]] == [False, True, True, False, False, False, False]
    assert told(calls, "source", "output_on") == [None] * 3


def test_the_other_channel_is_driven_only_for_its_readings_and_parked_behind_them() -> None:
    rung = extras(Purpose.CROSSTALK)[0]
    assert rung.aggressor is not None
    with rig_of(rung, extras(Purpose.QUIET)[0]) as rig:
        rig.sweep()
        assert rig.link("aggressor")._instrument.handle(b"OUTP?").strip() == b"0"
    crosstalk, quiet = rig.readings[-2:]
    # Four digits of the peak-to-peak level are what this source can set.
    assert crosstalk.aggressor_vpk == pytest.approx(rung.aggressor.drive_vpk, rel=5e-4)
    assert crosstalk.aggressor_hz == 2875.0
    assert (quiet.aggressor_vpk, quiet.aggressor_hz) == (0.0, 0.0)
    order = [call for call in since_ladder(rig) if call.role == "aggressor" or call.verb == "select"]
    verbs = [(call.role, call.verb) for call in order]
    on, off = verbs.index(("aggressor", "output_on")), verbs.index(("aggressor", "output_off"))
    # Its range is set before its source comes on, and left after it is off again.
    assert order[on - 3].arguments == (rung.aggressor.prediction.setting,)
    assert order[off + 1].arguments == (Setting(4, 0, 0),)
    assert verbs[-1] == ("aggressor", "safe_off")


def test_both_sources_are_off_after_a_failure_and_the_reading_is_tried_again() -> None:
    rung = extras(Purpose.CROSSTALK)[0]
    with rig_of(rung) as rig:
        seen = {"failed": False}

        def fail(call: Call) -> None:
            driven = any(c.role == "aggressor" and c.verb == "output_on" for c in rig.calls)
            if call.verb == "acquire" and driven and not seen["failed"]:
                seen["failed"] = True
                raise ReadTimeout("nothing came", instrument="device")

        rig.before = fail
        rig.sweep()
    assert [r.status for r in rig.readings[-2:]] == [ReadingStatus.RETRIED, ReadingStatus.VALID]
    assert rig.readings[-1].aggressor_vpk > 0.0
    after = rig.verbs[max(i for i, c in enumerate(rig.calls) if c.verb == "output_on" and c.role == "aggressor") :]
    assert after[-1] == "aggressor.safe_off"
    assert rig.verbs.count("aggressor.output_on") == 2


def test_a_stop_leaves_both_sources_off() -> None:
    with rig_of(*extras(Purpose.CROSSTALK)) as rig:

        def stop(call: Call) -> None:
            if call.verb == "acquire" and "aggressor.output_on" in rig.verbs:
                raise KeyboardInterrupt

        rig.before = stop
        with pytest.raises(KeyboardInterrupt):
            rig.sweep()
        assert not rig.output_is_on()
        assert rig.link("aggressor")._instrument.handle(b"OUTP?").strip() == b"0"


def test_a_reading_that_is_meant_to_clip_is_valid_and_never_above_the_limit() -> None:
    # 1.2 times the 2 V range is 1.2 V peak, of which the divider of source and inputs takes 0.015 %.
    rung = dataclasses.replace(
        next(r for r in SETUP.rungs if r.setting == Setting(1, 3, 0)), purpose=Purpose.OVERDRIVEN, drive_vpk=1.2
    )
    with rig_of(rung) as rig:
        rig.sweep()
    last = rig.readings[-1]
    assert (last.status, last.reason, last.purpose) == (ReadingStatus.VALID, "", Purpose.OVERDRIVEN)
    assert last.waveform is not None
    assert (last.waveform.codes.min(), last.waveform.codes.max()) == (-2048, 2047)
    assert max(told(rig.calls, "source", "set_level")) <= PLAN.level_limit_vpk  # type: ignore[type-var]
    # Above the limit nothing is sent.
    with rig_of(dataclasses.replace(rung, drive_vpk=1.01 * PLAN.level_limit_vpk)) as rig:
        with pytest.raises(RefusedUnsafe):
            rig.sweep()
        assert not rig.output_is_on()


def test_a_level_that_clips_is_recorded_as_it_is() -> None:
    high = extras(Purpose.TWO_LEVEL)[1]
    with rig_of(high, faults=("load-resistor-missing:1=2",)) as rig:
        rig.sweep()
    last = rig.readings[-1]
    assert last.status is ReadingStatus.INVALID
    assert last.reason.startswith("clipped")
    assert last.drive_set_vpk == high.drive_vpk
