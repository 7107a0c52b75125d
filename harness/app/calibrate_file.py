"""Constants as TOML: who, by which run, how well known; and what the device held before."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from harness.app.calibrate_run import CalibratedRun
from harness.app.version import version
from harness.judge.calibration import RangeConstant


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceConstant:
    """What a device holds, held or is to hold for one range of one channel."""

    channel: int
    coarse: int
    name: str
    """Of the range."""
    full_scale_vpp: float
    gain_ratio: float
    offset_code: float | None
    """None where the device keeps no offsets."""


def constants_toml(
    run: CalibratedRun,
    *,
    before: Sequence[DeviceConstant] = (),
    device: Sequence[DeviceConstant] = (),
    written: bool = False,
) -> str:
    """The export of a calibration."""
    lines = [
        f"# By gainladder {version()}. gain_ratio in [[constant]]: measured gain over the one displayed in the run;",
        "# in [[device]] and [[before]]: what the device shall hold, and what it held.",
        *_head(run, "constants", f"written = {_word(written)}", f"u_with_source = {_word(run.with_source)}"),
    ]
    for file in run.header.files:
        lines += [
            "", "[[file]]", f"role = {_text(file.role)}", f"path = {_text(file.path)}", f"version = {file.version}",
            f"sha256 = {_text(file.sha256)}",
        ]  # fmt: skip
    for constant in run.calibration.constants:
        lines += ["", *_constant(run, constant)]
    for name, table in (("device", device), ("before", before)):
        for held in table:
            lines += ["", f"[[{name}]]", *_held(held)]
    return "\n".join([*lines, ""])


def before_toml(run: CalibratedRun, before: Sequence[DeviceConstant]) -> str:
    """What the device held, by itself."""
    lines = [
        f"# By gainladder {version()}, before it wrote constants to the device: what the device held until then.",
        *_head(run, "constants-before"),
    ]
    for held in before:
        lines += ["", "[[before]]", *_held(held)]
    return "\n".join([*lines, ""])


def _head(run: CalibratedRun, kind: str, *more: str) -> list[str]:
    header, device = run.header, run.device
    return [
        f"kind = {_text(kind)}",
        f"unit = {_text(header.unit)}",
        f"run = {_text(header.run_id)}",
        f"date = {header.started_utc[:10]}",
        f"operator = {_text(header.operator)}",
        f"software = {_text(header.software)}",
        *more,
        "",
        "[identity]",
        f"manufacturer = {_text(device.manufacturer)}",
        f"model = {_text(device.model)}",
        f"serial = {_text(device.serial)}",
        f"firmware = {_text(device.firmware)}",
    ]


def _constant(run: CalibratedRun, constant: RangeConstant) -> list[str]:
    return [
        "[[constant]]",
        f"channel = {constant.channel}",
        f"range = {_text(constant.name)}",
        f"full_scale_vpp = {constant.full_scale_vpp!r}",
        f"at = {_text(run.setup.law.fine_names[constant.fine])}",
        f"gain_ratio = {constant.gain_ratio!r}",
        f"u_percent = {constant.u_percent!r}",
        f"offset_code = {constant.offset_code!r}",
        f"u_offset_code = {constant.u_offset_code!r}",
    ]


def _held(held: DeviceConstant) -> list[str]:
    lines = [
        f"channel = {held.channel}",
        f"range = {_text(held.name)}",
        f"full_scale_vpp = {held.full_scale_vpp!r}",
        f"gain_ratio = {held.gain_ratio!r}",
    ]
    return lines if held.offset_code is None else [*lines, f"offset_code = {held.offset_code!r}"]


def _word(flag: bool) -> str:
    return "true" if flag else "false"


def _text(text: str) -> str:
    """A TOML basic string: escapes as in JSON, and DEL, which JSON lets pass."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
