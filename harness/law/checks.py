"""Whether the parts of a device file fit each other: ranges, controls, firmware."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from harness.config import DeviceFile
from harness.law.findings import Findings
from harness.law.firmware import RULES
from harness.law.path import SignalPath
from harness.law.stages import Control


def check_order(device: DeviceFile, findings: Findings) -> None:
    """Whether names are unique and gain rises with the index, coarse and fine.

    Args:
        device: shape already checked.
        findings: takes the problems.
    Source:
        none: a check of content.
    """
    for what, named in (("stage", device.stage), ("coarse", device.coarse)):
        names = [entry.name for entry in named]
        for index, name in enumerate(names):
            if name in names[:index]:
                findings.add(f"{what}[{index}].name", f"{name!r} again", "each name once")
    for index, (before, after) in enumerate(pairwise(device.coarse), start=1):
        if not after.full_scale_vpp < before.full_scale_vpp:
            allowed = f"less than {before.full_scale_vpp:g}: ranges stand least sensitive first"
            findings.add(f"coarse[{index}].full_scale_vpp", f"{after.full_scale_vpp:g}", allowed)
    positions = device.fine.positions()
    if device.fine.count > 1 and not device.fine.percents()[-1] < device.fine.percents()[0]:
        unit, word = ("db", "more") if device.fine.in_db else ("percent", "less")
        allowed = f"{word} than first_{unit} = {positions[0]:g}: fine positions stand least gain first"
        findings.add(f"fine.last_{unit}", f"{positions[-1]:g}", allowed)


def check_shared(path: SignalPath, findings: Findings) -> None:
    """Whether stages that share a control agree on it.

    Args:
        path: the stages.
        findings: takes the problems.
    Source:
        none: a check of content.
    """
    first: dict[str, Control] = {}
    for index, stage in enumerate(path.stages):
        for control in stage.law.needs():
            known = first.setdefault(control.name, control)
            if known != control:
                allowed = f"values {known.allowed()}, as the stage before that shares control {control.name!r}"
                findings.add(f"stage[{index}]", f"values {control.allowed()}", allowed)


def check_ranges(device: DeviceFile, path: SignalPath, findings: Findings, *, complete: bool) -> None:
    """Whether each range fixes controls that exist, at values that exist, and none stays without a value.

    Args:
        device: shape already checked.
        path: the stages that are known.
        findings: takes the problems.
        complete: whether all stages are known; else a control may belong to one that is not.
    Source:
        none: a check of content.
    """
    code, prefer, controls = device.firmware.code, device.firmware.prefer, path.controls()
    chosen = {code, *prefer}
    if path.code_stage(code) is None:  # a wrong firmware.code is one problem, not one in each range
        chosen.update(name for name in controls if path.code_stage(name) is not None)
    for index, coarse in enumerate(device.coarse):
        for name, value in coarse.controls.items():
            key = f"coarse[{index}].controls.{name}"
            if name == code:
                findings.add(key, repr(value), "no such key: firmware.code says that the firmware sets it")
            elif name in controls:
                _check_value(key, value, controls[name], findings)
            elif complete:
                findings.add(key, "a control that no stage names", _names(controls))
        open_names = [name for name in controls if name not in coarse.controls and name not in chosen]
        for name in open_names:
            allowed = f"{name} = one of {controls[name].allowed()}, or firmware.prefer.{name}"
            findings.add(f"coarse[{index}].controls", f"no {name}, which a stage needs", allowed)


def check_firmware(device: DeviceFile, path: SignalPath, findings: Findings, *, complete: bool) -> None:
    """Whether the rule is known, the code can be chosen, and what is preferred is a two-valued control.

    Args:
        device: shape already checked.
        path: the stages that are known.
        findings: takes the problems.
        complete: whether all stages are known; else a control may belong to one that is not.
    Source:
        none: a check of content.
    """
    firmware, controls = device.firmware, path.controls()
    if firmware.rule not in RULES:
        findings.add("firmware.rule", repr(firmware.rule), "one of " + ", ".join(RULES))
    if firmware.rule == "table":
        _check_table(device, controls, findings)
    elif firmware.table is not None:
        findings.add("firmware.table", "a table", f'rule = "table", or no table for rule = {firmware.rule!r}')
    if path.code_stage(firmware.code) is None and (complete or firmware.code in controls):
        codes = [name for name in controls if path.code_stage(name) is not None]
        got = f"{firmware.code!r}, not the code of exactly one stage"
        if firmware.rule != "table":
            findings.add("firmware.code", got, _names(codes))
        elif firmware.code not in controls:
            findings.add("firmware.code", f"{firmware.code!r}, a control that no stage names", _names(controls))
    for index, code in enumerate(firmware.codes):
        if firmware.code in controls:
            _check_value(f"firmware.codes[{index}]", code, controls[firmware.code], findings)
    two_valued = [name for name, control in controls.items() if len(control.values) == 2]
    for name, value in firmware.prefer.items():
        key = f"firmware.prefer.{name}"
        if name == firmware.code:
            findings.add(key, str(value), "no such key: firmware.code chooses its value")
        elif name in two_valued:
            _check_value(key, value, controls[name], findings)
        elif complete or name in controls:
            findings.add(key, "no two-valued control", _names(two_valued))


def _check_table(device: DeviceFile, controls: Mapping[str, Control], findings: Findings) -> None:
    table, code, count = device.firmware.table, device.firmware.code, device.fine.count
    if table is None:
        findings.add("firmware.table", "nothing", f"the code of each of the {count} fine positions")
        return
    named = {f".{name}": codes for name, codes in table.items()} if isinstance(table, dict) else {"": table}
    if isinstance(table, dict):
        ranges = [coarse.name for coarse in device.coarse]
        for name in ranges:
            if name not in table:
                findings.add("firmware.table", f"no {name}", "the codes of every range: " + ", ".join(ranges))
        for name in table:
            if name not in ranges:
                findings.add(f"firmware.table.{name}", "a range that does not exist", _names(ranges))
    for name, codes in named.items():
        key = f"firmware.table{name}"
        if len(codes) != count:
            findings.add(key, f"{len(codes)} codes", f"{count}, one for each fine position")
        if code in controls:
            for index, value in enumerate(codes):
                _check_value(f"{key}[{index}]", value, controls[code], findings)


def _check_value(key: str, value: str | int, control: Control, findings: Findings) -> None:
    if value not in control.values:
        findings.add(key, repr(value), control.allowed())


def _names(names: Mapping[str, Control] | Sequence[str]) -> str:
    return "one of " + ", ".join(names) if names else "none: no stage has such a control"
