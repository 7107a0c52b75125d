"""What `gainladder calibrate` prints, and the same as an object."""

from __future__ import annotations

import dataclasses
from typing import Any

from harness.app.calibrate_run import CalibratedRun
from harness.app.output import result
from harness.judge.calibration import ExtraPoint, MeasuredLeft, RangeConstant


def calibration_text(run: CalibratedRun) -> None:
    """Constants, the error left at every fine step, and the points that would help."""
    device = run.device
    result(f"unit {run.header.unit}: {device}; run {run.header.run_id} of {run.header.started_utc[:10]}")
    _constants(run)
    _left(run)
    _extras(run)


def _constants(run: CalibratedRun) -> None:
    law = run.setup.law
    doubt = "u" if run.with_source else "u without the source's"
    result(f"\nconstants of the coarse ranges ({doubt}; k = 1):")
    result(
        f"{'channel':<8} {'range':<8} {'at':<8} {'gain ratio':>10} {'u %':>7} {'offset, codes':>13} {'u':>7}"
        f" {'worst error left, %':>20}  at"
    )
    for constant in run.calibration.constants:
        left = max(
            (item for item in run.calibration.measured if _same_range(item, constant)),
            key=lambda item: abs(item.error_percent),
        )
        result(
            f"ch{constant.channel:<6} {constant.name:<8} {law.fine_names[constant.fine]:<8}"
            f" {constant.gain_ratio:>10.6f} {constant.u_percent:>7.3f}"
            f" {constant.offset_code:>13.3f} {constant.u_offset_code:>7.3f}"
            f" {left.error_percent:>+20.3f}  {law.fine_names[left.setting.fine]}"
        )


def _same_range(item: MeasuredLeft, constant: RangeConstant) -> bool:
    return (item.setting.channel, item.setting.coarse) == (constant.channel, constant.coarse)


def _left(run: CalibratedRun) -> None:
    """A table of fine positions by ranges for what was measured, and one for what tolerances allow."""
    calibration, law = run.calibration, run.setup.law
    worst = calibration.worst
    seen: dict[tuple[int, int], float] = {}
    for item in calibration.measured:
        key = (item.setting.fine, item.setting.coarse)
        if abs(item.error_percent) >= abs(seen.get(key, 0.0)):
            seen[key] = item.error_percent
    result("\nerror left when each range is corrected at one fine position, measured, worst channel, percent of gain:")
    _grid(run, {key: f"{value:+.3f}" for key, value in seen.items()})
    result(_line("worst", [f"{item.measured_percent:+.3f}" for item in worst]))
    if not calibration.predicted:
        result(
            "\npredicted: nothing, for the device file gives no tolerances that differ between settings:"
            " add `tolerance` to its stages"
        )
        return
    half = {(item.fine, item.coarse): item.half_width_percent for item in calibration.predicted}
    result("\nthe same as the tolerances of the device file allow, half width, percent of gain:")
    _grid(run, {key: f"{value:.3f}" for key, value in half.items()})
    allowed = [item.predicted_percent or 0.0 for item in worst]
    result(_line("worst", [f"{size:.3f}" for size in allowed]))
    over = [
        f"{law.coarse_names[item.coarse]} ({item.measured_percent:+.3f} %, allowed ±{size:.3f} %)"
        for item, size in zip(worst, allowed, strict=True)
        if abs(item.measured_percent) > size
    ]
    if over:
        result(f"more than the tolerances allow: {', '.join(over)}")


def _grid(run: CalibratedRun, cells: dict[tuple[int, int], str]) -> None:
    law, ranges = run.setup.law, [item.coarse for item in run.calibration.worst]
    result(_line("fine", [law.coarse_names[coarse] for coarse in ranges]))
    for fine in sorted({fine for fine, _ in cells}):
        result(_line(law.fine_names[fine], [cells.get((fine, coarse), "") for coarse in ranges]))


def _line(head: str, cells: list[str]) -> str:
    return f"{head:<9}" + "".join(f" {cell:>8}" for cell in cells)


def _extras(run: CalibratedRun) -> None:
    calibration = run.calibration
    kinds = (
        ("this unit, as measured", calibration.extra_measured),
        ("any unit, by tolerances", calibration.extra_predicted),
    )
    result("\nfurther points that would help most, for a table in the host:")
    for kind, points in kinds:
        if not points:
            result(f"  {kind}: none")
        for point in points:
            result(
                f"  {kind}: {_place(run, point)}: worst error left in the range {point.before_percent:.3f} % ->"
                f" {point.after_percent:.3f} %, {point.between} between calibrated positions"
            )


def _place(run: CalibratedRun, point: ExtraPoint) -> str:
    law = run.setup.law
    return f"{law.coarse_names[point.coarse]} {law.fine_names[point.fine]}"


def calibration_object(run: CalibratedRun) -> dict[str, Any]:
    """Everything, for `--json`."""
    calibration, header = run.calibration, run.header
    extras = {"measured": calibration.extra_measured, "predicted": calibration.extra_predicted}
    return {
        "kind": "constants",
        "unit": header.unit,
        "run": header.run_id,
        "date": header.started_utc[:10],
        "device": dataclasses.asdict(run.device),
        "u_with_source": run.with_source,
        "constants": [dataclasses.asdict(item) for item in calibration.constants],
        "left": {
            "measured": [dataclasses.asdict(item) for item in calibration.measured],
            "predicted": [dataclasses.asdict(item) for item in calibration.predicted],
            "worst": [dataclasses.asdict(item) for item in calibration.worst],
        },
        "extra_points": {
            kind: [{**dataclasses.asdict(point), "name": _place(run, point)} for point in points]
            for kind, points in extras.items()
        },
        "files": [
            {"role": file.role, "path": file.path, "version": file.version, "sha256": file.sha256}
            for file in header.files
        ],
    }
