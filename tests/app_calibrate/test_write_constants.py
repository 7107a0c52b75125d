"""Constants into a simulated device, and a second sweep that shows what came of it."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest

from harness.app.calibrate_run import calibrate_run
from harness.app.calibrate_write import write_constants
from harness.drivers import HeldConstant
from harness.errors import InstrumentReported, ReadBackDiffers, UsageError
from harness.judge.calibration import CalibrationPoint
from harness.values import Identity

NO_KEEP: Any = lambda before, wanted: None  # noqa: E731

AMPLITUDE_CODE, SAMPLES = 1536.0, 4000
"""Of every record of this job: three quarters of 2048 codes."""
FACTOR = 5.0
"""Standard deviations of a difference: 18 settings exceed them by chance once in a hundred thousand sweeps."""


def noise_percent(point: CalibrationPoint) -> float:
    """Standard deviation between two readings of a gain: σ·√(2/N) of each amplitude (IEEE Std 1057), √2 for the two."""
    return 100.0 * math.sqrt(2.0) * point.noise_code * math.sqrt(2.0 / SAMPLES) / AMPLITUDE_CODE


def displayed_errors(desk: Any, run_id: str) -> dict[Any, float]:
    """100·ln(measured gain/displayed gain) by setting."""
    points = calibrate_run(desk.store, run_id).calibration.points
    return {point.setting: 100.0 * math.log(point.gain_ratio) for point in points}


def test_a_second_sweep_shows_the_displayed_error_gone(make_desk: Any) -> None:
    desk = make_desk()
    run = desk.calibrated()
    before = displayed_errors(desk, run.header.run_id)
    codes_before = {p.setting: p.measured_codes_per_v for p in run.calibration.points}
    held = write_constants(run, desk.opened, keep=NO_KEEP)
    assert len(held) == 6
    second = desk.sweep()
    after = displayed_errors(desk, second)
    codes_after = {p.setting: p.measured_codes_per_v for p in calibrate_run(desk.store, second).calibration.points}
    assert max(map(abs, before.values())) > 0.2
    corrected = [error for setting, error in after.items() if setting.fine == 0]
    assert max(map(abs, corrected)) < 0.01
    # what is left at the fine steps is what the first run said
    left = {item.setting: item.error_percent for item in run.calibration.measured}
    noise = {point.setting: noise_percent(point) for point in run.calibration.points}
    for setting, error in after.items():
        assert error == pytest.approx(left[setting], abs=max(0.02, FACTOR * noise[setting]))
    assert max(map(abs, after.values())) < 0.6 * max(map(abs, before.values()))
    # raw codes do not know of constants
    for setting, gain in codes_after.items():
        assert gain == pytest.approx(codes_before[setting], rel=max(2e-4, FACTOR * noise[setting] / 100.0))


def test_a_second_calibration_multiplies_the_constants_it_finds(make_desk: Any) -> None:
    desk = make_desk()
    device = desk.opened.bench.device
    for channel in (1, 2):
        for coarse in (2, 6, 10):
            device.write_constant(channel, coarse, gain_ratio=1.05, offset_code=1.0)
    kept: list[Any] = []
    run = desk.calibrated()
    held = write_constants(run, desk.opened, keep=lambda *tables: kept.extend(tables))
    old, wanted = kept
    assert {(item.gain_ratio, item.offset_code) for item in old} == {(1.05, 1.0)}
    assert tuple(wanted) == held
    for constant, new in zip(run.calibration.constants, held, strict=True):
        assert new.gain_ratio == pytest.approx(1.05 * constant.gain_ratio)
        assert new.offset_code == constant.offset_code
        assert new.gain_ratio == pytest.approx(1.0, abs=0.006)
        assert device.read_constant(new.channel, new.coarse).gain_ratio == pytest.approx(new.gain_ratio)


def test_the_source_is_switched_off_first_and_stays_off_or_nothing_is_written(make_desk: Any) -> None:
    desk = make_desk()
    run = desk.calibrated()

    class StuckSource:
        def safe_off(self) -> None:
            raise ReadBackDiffers("the output was switched off and reads back on")

    bench = dataclasses.replace(desk.opened.bench, source=StuckSource())
    with pytest.raises(ReadBackDiffers, match="reads back on"):
        write_constants(run, dataclasses.replace(desk.opened, bench=bench), keep=NO_KEEP)
    assert desk.opened.bench.device.read_constant(1, 2) == HeldConstant(gain_ratio=1.0, offset_code=0.0)


def test_constants_of_another_unit_are_refused(make_desk: Any) -> None:
    desk = make_desk()
    run = desk.calibrated()
    other = Identity(manufacturer="Skerry", model="HR-4", serial="SK000002", firmware="1.0")
    swapped = dataclasses.replace(desk.opened, identities=(("device", other),))
    with pytest.raises(UsageError, match=r"on the bench is .*SK000002.* is of .*SK000001.*must not go into another"):
        write_constants(run, swapped, keep=NO_KEEP)


def test_constants_that_changed_since_the_run_are_refused(make_desk: Any) -> None:
    desk = make_desk()
    run = desk.calibrated()
    write_constants(run, desk.opened, keep=NO_KEEP)
    with pytest.raises(UsageError, match=r"ch1 5V: displays .* its constants have changed since; sweep again"):
        write_constants(run, desk.opened, keep=NO_KEEP)


def test_a_fault_is_not_calibrated_away(make_desk: Any) -> None:
    desk = make_desk("load-resistor-missing:2")
    run = desk.calibrated()
    with pytest.raises(UsageError, match=r"ch2 5V: measured gain is [\d.]+ of the displayed one; .* that is a fault"):
        write_constants(run, desk.opened, keep=NO_KEEP)


def test_a_device_without_constants_is_refused(make_desk: Any, job: Any) -> None:
    from harness.app.setup import read_setup

    setup = read_setup(str(job))
    profile = setup.bench.profiles["device"]
    commands = {verb: text for verb, text in profile.commands.items() if not verb.startswith("constant")}
    plain = {**setup.bench.profiles, "device": profile.model_copy(update={"commands": commands})}
    desk = make_desk(setup=dataclasses.replace(setup, bench=dataclasses.replace(setup.bench, profiles=plain)))
    run = desk.calibrated()
    with pytest.raises(UsageError, match=r"keeps no constants .* lacks the commands constant and constant_query"):
        write_constants(run, desk.opened, keep=NO_KEEP)


def test_what_stops_the_writing_says_how_far_it_came(make_desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = make_desk()
    run = desk.calibrated()
    device = desk.opened.bench.device
    usual, calls = type(device).write_constant, []

    def third_fails(self: Any, *place: Any, **values: Any) -> Any:
        calls.append(place)
        if len(calls) == 3:
            raise InstrumentReported("the error queue held: -222", codes=(-222,))
        return usual(self, *place, **values)

    monkeypatch.setattr(type(device), "write_constant", third_fails)
    with pytest.raises(InstrumentReported) as caught:
        write_constants(run, desk.opened, keep=NO_KEEP)
    assert caught.value.__notes__ == [
        "2 of 6 constants were written, one more perhaps; the old ones are kept in the files"
    ]
