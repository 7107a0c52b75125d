"""From a device file to its gain law, with every problem of its content at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

from harness.config import Coarse, DeviceFile
from harness.config.parse import validate
from harness.errors import ConfigError
from harness.law.checks import Findings, check_firmware, check_order, check_ranges, check_shared, check_words
from harness.law.firmware import RULES
from harness.law.gain_law import GainLaw, Place
from harness.law.path import SignalPath
from harness.law.stages import KINDS, Control, Controls, StageKind
from harness.law.words import layout_of


def build(device: DeviceFile, *, file: str) -> GainLaw:
    """The gain law of a device.

    Args:
        device: the device file, shape already checked.
        file: its name, for messages.
    Returns:
        the law, every setting worked out.
    Raises:
        ConfigError: all problems of the content: unknown stage kinds, parameters that their kind does not take, ranges
            or fine positions out of order, controls that do not exist or do not fit, an unknown firmware rule, a word
            layout that does not match the stages, ranges that no code reaches.
    Source:
        product of stages; common practice for receivers with coarse relays and a fine gain code.
    """
    findings = Findings(file)
    stages = _stages(device, findings)
    path = SignalPath(stages=stages, codes_per_v=device.converter.codes_per_v)
    complete, controls = len(stages) == len(device.stage), path.controls()
    check_order(device, findings)
    check_shared(path, findings)
    check_ranges(device, path, findings, complete=complete)
    check_firmware(device, path, findings, complete=complete)
    check_words(device, controls, findings, complete=complete)
    places: tuple[tuple[Place, ...], ...] = ()
    if not findings.problems:
        places = tuple(_row(device, path, index, findings) for index in range(len(device.coarse)))
    if findings.problems:
        raise ConfigError(tuple(findings.problems))
    return GainLaw(
        path=path,
        words=None if device.bus is None else layout_of(device.bus),
        places=places,
        channels=device.channels,
        coarse_names=tuple(coarse.name for coarse in device.coarse),
        fine_names=tuple(map(_percent_text, device.fine.percents())),
        span_codes=2**device.converter.bits,
        code_control=device.firmware.code,
    )


def _stages(device: DeviceFile, findings: Findings) -> tuple[StageKind, ...]:
    found: list[StageKind] = []
    for index, stage in enumerate(device.stage):
        kind = KINDS.get(stage.kind)
        if kind is None:
            findings.add(f"stage[{index}].kind", repr(stage.kind), "one of " + ", ".join(sorted(KINDS)))
            continue
        try:
            read = validate(kind, stage.parameters, file=findings.file, at=("stage", index))
        except ConfigError as error:
            findings.problems.extend(error.problems)
            continue
        flaws = read.flaws()
        for flaw in flaws:
            findings.add(f"stage[{index}].{flaw.key}", flaw.got, flaw.allowed)
        if not flaws:
            found.append(read)
    return tuple(found)


def _row(device: DeviceFile, path: SignalPath, index: int, findings: Findings) -> tuple[Place, ...]:
    """The fine positions of one range, least gain first; the first that no code reaches is a problem."""
    coarse = device.coarse[index]
    candidates = _candidates(coarse, device.firmware.prefer, path.controls(), device.firmware.code)
    rule = RULES[device.firmware.rule]
    places: list[Place] = []
    for percent in device.fine.percents():
        full_scale_vpp = coarse.full_scale_vpp * percent / 100.0
        wanted_codes_per_v = 2**device.converter.bits / (full_scale_vpp * coarse.arithmetic_ratio)
        chosen = rule(path, device.firmware.code, candidates, wanted_codes_per_v)
        if chosen is None:
            wanted = f"range {coarse.name} at {_percent_text(percent)} wants {wanted_codes_per_v:.6g} codes/V"
            reach = _reach(path, device.firmware.code, candidates)
            findings.add(f"coarse[{index}].full_scale_vpp", f"{coarse.full_scale_vpp:g}: {wanted}", reach)
            break
        places.append(
            Place(
                controls=tuple((name, chosen[name]) for name in path.controls()),
                arithmetic_ratio=coarse.arithmetic_ratio,
                full_scale_vpp=full_scale_vpp,
                gain_codes_per_v=path.gain_codes_per_v(chosen) * coarse.arithmetic_ratio,
                name=f"{coarse.name} {_percent_text(percent)}",
            )
        )
    return tuple(places)


def _candidates(
    coarse: Coarse, prefer: Mapping[str, int], controls: Mapping[str, Control], code: str
) -> tuple[Controls, ...]:
    """All values of the controls beside the code, in order of preference; what the range fixes is not chosen."""
    choices: list[list[tuple[str, str | int]]] = []
    for name, control in controls.items():
        if name in coarse.controls:
            choices.append([(name, coarse.controls[name])])
        elif name != code:
            choices.append(
                [(name, prefer[name]), *((name, value) for value in control.values if value != prefer[name])]
            )
    return tuple(dict(combination) for combination in product(*choices))


def _reach(path: SignalPath, code: str, candidates: Sequence[Controls]) -> str:
    legal = path.controls()[code]
    texts: list[str] = []
    for candidate in candidates:
        least, most = (path.gain_codes_per_v({**candidate, code: legal.values[end]}) for end in (0, -1))
        where = ", ".join(f"{name} = {value}" for name, value in candidate.items())
        texts.append(f"{least:.6g} to {most:.6g} codes/V" + (f" with {where}" if where else ""))
    return f"{'; or '.join(texts)} ({code} {legal.allowed()})"


def _percent_text(percent: float) -> str:
    return f"{percent:g} %"
