"""From a device file to its gain law, with every problem of its content at once."""

from __future__ import annotations

import numpy as np

from harness.config import DeviceFile, Stage
from harness.config.parse import validate
from harness.errors import ConfigError
from harness.law.check_stages import check_positions, check_tolerances, in_order
from harness.law.check_words import check_words
from harness.law.checks import check_firmware, check_order, check_ranges, check_shared
from harness.law.corrections import Conditions
from harness.law.findings import Findings
from harness.law.gain_law import GainLaw, Place
from harness.law.path import PathStage, SignalPath
from harness.law.row import row_of
from harness.law.stages import KINDS
from harness.law.words import words_of


def build(device: DeviceFile, *, file: str) -> GainLaw:
    """The gain law of a device.

    Args:
        device: the device file, shape already checked.
        file: its name, for messages.
    Returns:
        the law, every setting worked out.
    Raises:
        ConfigError: all problems of the content: unknown stage kinds, parameters that their kind does not take, stages
            that stand in a circle or behind one that does not exist, tolerances that no parameter bears or that make
            a gain negative, ranges or fine positions out of order, controls that do not exist or do not fit, an
            unknown firmware rule or a table that does not fit, a word layout that overlaps itself or does not match
            the stages, ranges that no code reaches.
    Source:
        product of stages; common practice for receivers with coarse relays and a fine gain code.
    """
    findings = Findings(file)
    stages = _stages(device, findings)
    path = SignalPath(
        stages=stages,
        codes_per_v=device.converter.codes_per_v,
        span_codes=2**device.converter.bits,
        conditions=Conditions(
            frequency_hz=device.acquisition.frequency_hz,
            temperature_c=device.reference.temperature_c,
            fill_ratio=device.reference.fill_ratio,
        ),
    )
    complete = len(stages) == len(device.stage)
    check_order(device, findings)
    _check_response(device, findings)
    check_shared(path, findings)
    check_ranges(device, path, findings, complete=complete)
    check_firmware(device, path, findings, complete=complete)
    check_words(device, path, findings, complete=complete)
    places: tuple[tuple[Place, ...], ...] = ()
    if not findings.problems:
        places = tuple(row_of(device, path, index, findings) for index in range(len(device.coarse)))
    if findings.problems:
        raise ConfigError(tuple(findings.problems))
    flat = [place for row in places for place in row]
    return GainLaw(
        path=path,
        grid=path.arrays([dict(place.controls) for place in flat]),
        arithmetic_ratio=np.asarray([place.arithmetic_ratio for place in flat]),
        words=None if device.bus is None else words_of(device.bus, path.controls(), code=device.firmware.code),
        places=places,
        channels=device.channels,
        coarse_names=tuple(coarse.name for coarse in device.coarse),
        fine_names=device.fine.names(),
        span_codes=2**device.converter.bits,
        code_control=device.firmware.code,
    )


def _check_response(device: DeviceFile, findings: Findings) -> None:
    names = [stage.name for stage in device.stage]
    for index, name in enumerate(device.response.stages if device.response else ()):
        if name not in names:
            findings.add(f"response.stages[{index}]", repr(name), "names of stages: " + ", ".join(names))


def _stages(device: DeviceFile, findings: Findings) -> tuple[PathStage, ...]:
    found: dict[int, PathStage] = {}
    for index, stage in enumerate(device.stage):
        made = _stage(stage, index, findings)
        if made is not None:
            found[index] = made
    order = in_order(device.stage, findings)
    return tuple(found[index] for index in order if index in found)


def _stage(stage: Stage, index: int, findings: Findings) -> PathStage | None:
    kind = KINDS.get(stage.kind)
    if kind is None:
        findings.add(f"stage[{index}].kind", repr(stage.kind), "one of " + ", ".join(sorted(KINDS)))
        return None
    try:
        read = validate(kind, stage.parameters, file=findings.file, at=("stage", index))
    except ConfigError as error:
        findings.problems.extend(error.problems)
        return None
    flaws = read.flaws()
    for flaw in flaws:
        findings.add(f"stage[{index}].{flaw.key}", flaw.got, flaw.allowed)
    if flaws:
        return None
    check_positions(stage, read, index, findings)
    tolerances = check_tolerances(stage, read, index, findings)
    return PathStage(name=stage.name, law=read, corrections=stage.corrections, tolerances=tolerances)
