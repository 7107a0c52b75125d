"""Constants into a device: only this unit's, only with the source off, the old ones kept first, each read back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from harness.app.bench_open import OpenBench
from harness.app.calibrate_file import DeviceConstant
from harness.app.calibrate_run import CalibratedRun
from harness.drivers import DeviceDriver
from harness.errors import BenchError, UsageError
from harness.judge.calibration import RangeConstant
from harness.values import Setting

SAME_SCALE_RATIO = 1e-6
"""How far the scale displayed now may be from that of the run: the last digits of an answer."""
MOST_RATIO = 1.2
"""A range farther off than this, either way, has a fault; a constant would hide it."""

Keep = Callable[[Sequence[DeviceConstant], Sequence[DeviceConstant]], None]
"""Puts old and new constants where they are safe; called before the first one is written."""


def write_constants(run: CalibratedRun, opened: OpenBench, *, keep: Keep) -> tuple[DeviceConstant, ...]:
    """Write a run's constants to the device on a bench; what it then holds, read back.

    UsageError, and nothing is written, when the device keeps no constants, is not the one of the run, displays another
    scale than in the run, or is so far off that it needs repair. A BenchError on the way says what was written.
    """
    device = _holder(opened)
    constants = run.calibration.constants
    _check_unit(run, opened)
    _check_size(constants)
    opened.bench.source.safe_off()  # read back: a source that stays on ends here
    device.prepare()
    _check_scales(device, constants)
    before = tuple(_held(device, constant) for constant in constants)
    wanted = tuple(
        DeviceConstant(
            channel=old.channel,
            coarse=old.coarse,
            name=old.name,
            full_scale_vpp=old.full_scale_vpp,
            # The run saw the device with its old constant in force.
            gain_ratio=old.gain_ratio * constant.gain_ratio,
            offset_code=None if old.offset_code is None else constant.offset_code,
        )
        for old, constant in zip(before, constants, strict=True)
    )
    keep(before, wanted)
    done: list[DeviceConstant] = []
    with _counted(done, len(wanted)):
        for new in wanted:
            device.write_constant(
                new.channel, new.coarse, gain_ratio=new.gain_ratio, offset_code=new.offset_code or 0.0
            )  # fmt: skip
            done.append(new)
    return tuple(done)


def _holder(opened: OpenBench) -> DeviceDriver:
    device = opened.bench.device
    if not isinstance(device, DeviceDriver) or not device.holds_constants:
        raise UsageError(
            "the device keeps no constants as far as its instrument file says: it lacks the commands constant and "
            "constant_query; export them with --out alone and apply them in the host"
        )
    return device


def _check_unit(run: CalibratedRun, opened: OpenBench) -> None:
    there, ours = dict(opened.identities)["device"], run.device
    if (there.manufacturer, there.model, there.serial) != (ours.manufacturer, ours.model, ours.serial):
        raise UsageError(
            f"on the bench is {there}; run {run.header.run_id} is of {ours}: "
            "constants of one unit must not go into another; sweep this one"
        )


def _check_size(constants: Sequence[RangeConstant]) -> None:
    for constant in constants:
        if not 1.0 / MOST_RATIO <= constant.gain_ratio <= MOST_RATIO:
            raise UsageError(
                f"ch{constant.channel} {constant.name}: measured gain is {constant.gain_ratio:.4g} of the displayed "
                f"one; allowed: {1.0 / MOST_RATIO:.3g} to {MOST_RATIO:g}: that is a fault, which a constant would hide"
            )


def _check_scales(device: DeviceDriver, constants: Sequence[RangeConstant]) -> None:
    """A constant says how far the displayed scale was off; if that has changed since, it says nothing any more."""
    for constant in constants:
        device.select(Setting(constant.channel, constant.coarse, constant.fine))
        now = device.acquire(constant.channel).scale_v_per_code
        then = constant.displayed_v_per_code
        if abs(now - then) > SAME_SCALE_RATIO * then:
            raise UsageError(
                f"ch{constant.channel} {constant.name}: displays {now:.7g} V a code, in the run {then:.7g}: its "
                "constants have changed since; sweep again and calibrate by the new run"
            )


def _held(device: DeviceDriver, constant: RangeConstant) -> DeviceConstant:
    held = device.read_constant(constant.channel, constant.coarse)
    return DeviceConstant(
        channel=constant.channel,
        coarse=constant.coarse,
        name=constant.name,
        full_scale_vpp=constant.full_scale_vpp,
        gain_ratio=held.gain_ratio,
        offset_code=held.offset_code,
    )


@contextmanager
def _counted(done: Sequence[DeviceConstant], planned: int) -> Iterator[None]:
    """Whatever stops the writing, its message says how far it had come."""
    try:
        yield
    except (BenchError, KeyboardInterrupt) as error:
        error.add_note(
            f"{len(done)} of {planned} constants were written, one more perhaps; the old ones are kept in the files"
        )
        raise
