"""Whether the parts of a device file fit each other: ranges, controls, firmware, words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from harness.config import DeviceFile
from harness.errors import Problem
from harness.law.firmware import RULES
from harness.law.path import SignalPath
from harness.law.stages import Control


@dataclass(slots=True)
class Findings:
    """Problems of one file as they are found."""

    file: str
    problems: list[Problem] = field(default_factory=list)

    def add(self, key: str, got: str, allowed: str) -> None:
        """Note one problem.

        Args:
            key: key path.
            got: what stands there.
            allowed: what may stand there.
        Source:
            none: bookkeeping.
        """
        self.problems.append(Problem(file=self.file, key=key, got=got, allowed=allowed))


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
    if device.fine.count > 1 and not device.fine.last_percent < device.fine.first_percent:
        allowed = f"less than first_percent = {device.fine.first_percent:g}: fine positions stand least gain first"
        findings.add("fine.last_percent", f"{device.fine.last_percent:g}", allowed)


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
        for control in stage.needs():
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
    if path.code_stage(firmware.code) is None and (complete or firmware.code in controls):
        codes = [name for name in controls if path.code_stage(name) is not None]
        got = f"{firmware.code!r}, not the code of exactly one stage"
        findings.add("firmware.code", got, _names(codes))
    two_valued = [name for name, control in controls.items() if len(control.values) == 2]
    for name, value in firmware.prefer.items():
        key = f"firmware.prefer.{name}"
        if name == firmware.code:
            findings.add(key, str(value), "no such key: firmware.code chooses its value")
        elif name in two_valued:
            _check_value(key, value, controls[name], findings)
        elif complete or name in controls:
            findings.add(key, "no two-valued control", _names(two_valued))


def check_words(device: DeviceFile, controls: Mapping[str, Control], findings: Findings, *, complete: bool) -> None:
    """Whether the word's fields are controls of the path, each once, as wide as their stage says, the code among them.

    Args:
        device: shape already checked.
        controls: of the path, by name.
        findings: takes the problems.
        complete: whether all stages are known; else a control may belong to one that is not.
    Source:
        none: a check of content.
    """
    if device.bus is None:
        return
    fields = [entry.control for entry in device.bus.layout]
    wordable = [name for name, control in controls.items() if control.bits is not None]
    for index, entry in enumerate(device.bus.layout):
        key = f"bus.layout[{index}]"
        if entry.control in fields[:index]:
            findings.add(f"{key}.control", f"{entry.control!r} again", "each control once")
        elif entry.control in wordable:
            bits = controls[entry.control].bits
            if bits != entry.bits:
                findings.add(f"{key}.bits", str(entry.bits), f"{bits}, as its stage says")
        elif complete or entry.control in controls:
            findings.add(f"{key}.control", f"{entry.control!r}, no number that a stage names", _names(wordable))
    if device.firmware.code in wordable and device.firmware.code not in fields:
        allowed = f"a field for {device.firmware.code!r}, which firmware.code names"
        findings.add("bus.layout", ", ".join(fields), allowed)


def _check_value(key: str, value: str | int, control: Control, findings: Findings) -> None:
    if value not in control.values:
        findings.add(key, repr(value), control.allowed())


def _names(names: Mapping[str, Control] | Sequence[str]) -> str:
    return "one of " + ", ".join(names) if names else "none: no stage has such a control"
