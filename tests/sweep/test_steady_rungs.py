"""Steady levels on the bench: the source off before and after, a dither where the record is quiet, whole or none."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from harness.errors import ReadTimeout, RefusedUnsafe
from harness.sweep import resumption
from harness.values import Purpose, Reading, ReadingStatus, Rung
from tests.steady_bench import read, steady_rig, steady_setup
from tests.sweep.spied_bench import Call, Rig

QUIET = steady_setup(quiet=True, fines=(0,))
LOUD = steady_setup(fines=(0,))
RETRIED, VALID = ReadingStatus.RETRIED, ReadingStatus.VALID


def at_dc(readings: list[Reading]) -> list[Reading]:
    return [reading for reading in readings if reading.purpose in (Purpose.DC_PLUS, Purpose.DC_MINUS)]


def test_a_quiet_record_is_dithered_and_a_loud_one_is_not() -> None:
    for setup, records in ((QUIET, 8), (LOUD, 1)):
        found = at_dc(read(setup))
        assert [reading.status for reading in found] == [VALID] * 4
        for reading, rung in zip(found, setup.extras, strict=True):
            assert rung.steady is not None
            assert len(reading.steady_v) == records
            assert reading.waveform is not None
            assert reading.waveform.codes.size == records * setup.device.acquisition.samples
            wanted_v = rung.steady.dither_v if records == 8 else (rung.steady.level_v,)
            # Within half of a step of the source.
            assert reading.steady_v == pytest.approx(wanted_v, abs=0.51e-5)
            assert reading.drive_set_vpk == rung.drive_vpk
            assert (reading.frequency_hz, reading.meter_vpk) == (0.0, None)


def test_always_and_never() -> None:
    assert {len(reading.steady_v) for reading in at_dc(read(steady_setup(fines=(0,), dither="always")))} == {8}
    never = steady_setup(quiet=True, fines=(0,), dither="never")
    assert {len(reading.steady_v) for reading in at_dc(read(never))} == {1}


def test_the_output_is_off_before_the_first_steady_level_and_after_the_last() -> None:
    with steady_rig(QUIET) as rig:
        on: list[tuple[str, bool]] = []

        def look(call: Call) -> None:
            if call.verb in ("set_steady", "select", "prepare", "set_level"):
                on.append((call.verb, rig.output_is_on()))

        rig.before = look
        rig.sweep()
        assert not rig.output_is_on()
    steady = [was_on for verb, was_on in on if verb == "set_steady"]
    # One level alone, then eight, at four readings: only the first of each reading finds the output off.
    assert steady == [False, *[True] * 8] * 4
    assert all(not was_on for verb, was_on in on if verb == "prepare")
    last = max(i for i, (verb, _) in enumerate(on) if verb == "set_level")
    assert all(not was_on for verb, was_on in on[last + 1 :] if verb == "select")


def test_sines_come_back_by_preparing_the_source() -> None:
    sine = QUIET.rungs[0]
    with steady_rig(QUIET) as rig:
        rig.sweep(rungs=(sine,), extras=(QUIET.extras[0], _as_extra(sine), QUIET.extras[1]))
        verbs = [call.verb for call in rig.calls if call.role == "source"]
    first, last, *_ = rig.readings[0], rig.readings[2]
    assert first.waveform is not None
    assert last.waveform is not None
    assert np.ptp(last.waveform.codes) == pytest.approx(np.ptp(first.waveform.codes), abs=2)
    steps = [verb for verb in verbs if verb in ("prepare", "set_steady", "set_level", "set_frequency")]
    # The self-check and the ladder, nine steady levels, the way back, and nine again.
    places = [place for place, verb in enumerate(steps) if verb == "set_steady"]
    between = steps[places[8] + 1 : places[9]]
    assert between == ["prepare", "set_frequency", "set_level"]


def _as_extra(rung: Rung) -> Rung:
    return dataclasses.replace(rung, purpose=Purpose.REPEAT)


@pytest.mark.parametrize("at", [1, 4, 8])
def test_a_link_that_fails_in_the_dither_takes_the_reading_again_from_source_off(at: int) -> None:
    with steady_rig(QUIET) as rig:
        left = [at]

        def fail(call: Call) -> None:
            if call.verb == "set_steady":
                left[0] -= 1
                if left[0] == 0:
                    raise ReadTimeout("no answer", instrument="source")

        rig.before = fail
        rig.sweep()
        assert not rig.output_is_on()
    found = at_dc(rig.readings)
    assert [reading.status for reading in found] == [RETRIED, *[VALID] * 4]
    assert found[0].waveform is None
    assert found[0].steady_v == ()
    assert [len(reading.steady_v) for reading in found[1:]] == [8] * 4


def test_an_interrupt_in_the_dither_leaves_the_source_off_and_nothing_half_recorded() -> None:
    for at in (1, 5, 9):
        with steady_rig(QUIET) as rig:
            left = [at]

            def stop(call: Call, left: list[int] = left) -> None:
                if call.verb == "acquire" and call.role == "device":
                    left[0] -= at_dc_begun(rig)
                    if left[0] == 0:
                        raise KeyboardInterrupt

            def at_dc_begun(rig: Rig) -> bool:
                return any(call.verb == "set_steady" for call in rig.calls)

            rig.before = stop
            with pytest.raises(KeyboardInterrupt):
                rig.sweep()
            assert not rig.output_is_on()
            assert at_dc(rig.readings) == []


def test_a_level_above_the_limit_is_refused_before_anything_is_sent() -> None:
    rung = QUIET.extras[0]
    assert rung.steady is not None
    far = dataclasses.replace(rung.steady, dither_v=(*rung.steady.dither_v[:-1], -5.001))
    with steady_rig(QUIET) as rig:
        with pytest.raises(RefusedUnsafe, match=r"5\.001 V peak"):
            rig.sweep(rungs=QUIET.rungs[:1], extras=(dataclasses.replace(rung, steady=far),))
        assert not rig.output_is_on()
    assert rig.readings[-1].status is ReadingStatus.INVALID


def test_a_clipped_level_is_invalid_and_not_dithered() -> None:
    rung = QUIET.extras[0]
    assert rung.steady is not None
    high = dataclasses.replace(rung.steady, level_v=4.0)
    with steady_rig(QUIET) as rig:
        rig.sweep(rungs=QUIET.rungs[:1], extras=(dataclasses.replace(rung, steady=high, drive_vpk=4.0),))
    reading = rig.readings[-1]
    assert reading.status is ReadingStatus.INVALID
    assert reading.reason.startswith("clipped")
    assert reading.steady_v == (4.0,)


def test_a_resumed_run_reads_the_sign_that_is_missing() -> None:
    readings = read(QUIET)
    test_hz = QUIET.device.acquisition.frequency_hz
    assert resumption(QUIET.every_rung, readings, frequency_hz=test_hz).left == ()
    lost = at_dc(readings)[1]
    broken = [reading for reading in readings if reading is not lost]
    assert resumption(QUIET.every_rung, broken, frequency_hz=test_hz).left == (QUIET.extras[1],)
