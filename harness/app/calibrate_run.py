"""From a recorded run to what it says about calibrating its unit."""

from __future__ import annotations

from dataclasses import dataclass

from harness.app.run import judged
from harness.app.setup import Setup, setup_of_run
from harness.errors import UsageError
from harness.judge.calibration import Calibration, CalibrationPoint, calibrate, measured_points
from harness.store import Store
from harness.values import Identity, Outcome, RunHeader, RunResult, Setting

SHOWN = 5
"""Settings named in a refusal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibratedRun:
    """A run, fit to calibrate by, and what came of it."""

    header: RunHeader
    setup: Setup
    result: RunResult
    calibration: Calibration

    @property
    def device(self) -> Identity:
        """Who answered as the device."""
        return dict(self.header.identities)["device"]

    @property
    def with_source(self) -> bool:
        """Whether the uncertainties hold what all readings share, the source's accuracy above all."""
        return bool(known_u_percent(self.result))


def points_of_run(setup: Setup, store: Store, header: RunHeader, result: RunResult) -> tuple[CalibrationPoint, ...]:
    """What every setting of a run measured, beside what it displayed."""
    return measured_points(
        store.readings(header.run_id),
        law=setup.law,
        device=setup.device,
        input_ratio=setup.input_ratio,
        terminal_ratio=setup.terminal_ratio,
        known_u_percent=known_u_percent(result),
    )


def known_u_percent(result: RunResult) -> dict[Setting, float]:
    """Standard uncertainty of the absolute gain of each setting with a budget."""
    return {row.setting: row.expanded_percent / 2.0 for row in result.settings if row.expanded_percent is not None}


def calibrate_run(store: Store, run: str, *, limits_path: str = "") -> CalibratedRun:
    """A run's constants; UsageError when the run is not fit to calibrate by."""
    header, result = judged(store, store.resolve(run), limits_path=limits_path)
    setup = setup_of_run(header, limits_path=limits_path)
    _check_sound(header, result)
    points = points_of_run(setup, store, header, result)
    return CalibratedRun(header=header, setup=setup, result=result, calibration=calibrate(points, setup.law))


def _check_sound(header: RunHeader, result: RunResult) -> None:
    station = [claim.reason for claim in result.judgements if claim.item == "station"]
    if station:
        raise UsageError(f"run {header.run_id}: the station was at fault: {station[0]}; mend it and sweep again")
    bad = [row.label for row in result.settings if row.outcome is Outcome.INVALID or row.measured_codes_per_v is None]
    if bad:
        more = f" and {len(bad) - SHOWN} more" if len(bad) > SHOWN else ""
        raise UsageError(
            f"run {header.run_id}: {len(bad)} settings are INVALID or were not measured "
            f"({', '.join(bad[:SHOWN])}{more}): no constants come of it; sweep again"
        )
