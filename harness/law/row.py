"""The fine positions of one range: what the firmware would choose, or why it cannot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np

from harness.config import Coarse, DeviceFile
from harness.law.findings import Findings
from harness.law.firmware import RULES, Chosen, Request
from harness.law.gain_law import Place
from harness.law.path import SignalPath
from harness.law.stages import Control, Controls, Floats


def row_of(device: DeviceFile, path: SignalPath, index: int, findings: Findings) -> tuple[Place, ...]:
    """Every fine position of a range, least gain first.

    Args:
        device: checked.
        path: its stages.
        index: of the range, from 0.
        findings: takes the first position that no code reaches.
    Returns:
        the places as far as codes reach.
    Source:
        the firmware's rule in the device file.
    """
    coarse, firmware = device.coarse[index], device.firmware
    candidates = _candidates(coarse, firmware.prefer, path.controls(), firmware.code)
    arithmetic_ratio = coarse.arithmetic_ratio
    if candidates:
        fixed = {**candidates[0], firmware.code: path.controls()[firmware.code].values[0]}
        arithmetic_ratio *= path.arithmetic_ratio(fixed)
    scales_vpp = [coarse.full_scale_vpp * percent / 100.0 for percent in device.fine.percents()]
    wanted = tuple(2**device.converter.bits / (scale_vpp * arithmetic_ratio) for scale_vpp in scales_vpp)
    request = Request(
        path=path,
        code=firmware.code,
        codes=firmware.codes,
        candidates=candidates,
        wanted_codes_per_v=wanted,
        table=_table(device, coarse),
    )
    choices = RULES[firmware.rule](request)
    gains = _gains_codes_per_v(path, choices)
    places: list[Place] = []
    for place, (chosen, name) in enumerate(zip(choices, device.fine.names(), strict=True)):
        if chosen is None or not gains[place] > 0.0:
            got = f"{coarse.full_scale_vpp:g}: range {coarse.name} at {name} wants {wanted[place]:.6g} codes/V"
            findings.add(f"coarse[{index}].full_scale_vpp", got, _reach(path, firmware.code, candidates))
            break
        whole = f"{coarse.name} {name}"
        places.append(_place(path, chosen, whole, scales_vpp[place], arithmetic_ratio, float(gains[place])))
    return tuple(places)


def _gains_codes_per_v(path: SignalPath, choices: Sequence[Chosen | None]) -> Floats:
    """Of each choice in one pass; 0 where there is none."""
    found = np.zeros(len(choices))
    made = [place for place, chosen in enumerate(choices) if chosen is not None]
    if made:
        found[made] = path.gains_codes_per_v(path.arrays([choice.controls for choice in choices if choice is not None]))
    return found


def _place(
    path: SignalPath, chosen: Chosen, name: str, full_scale_vpp: float, arithmetic_ratio: float, gain_codes_per_v: float
) -> Place:
    ratio = arithmetic_ratio * chosen.remainder_ratio
    return Place(
        controls=tuple((control, chosen.controls[control]) for control in path.controls()),
        arithmetic_ratio=ratio,
        full_scale_vpp=full_scale_vpp,
        gain_codes_per_v=gain_codes_per_v * ratio,
        name=name,
    )


def _table(device: DeviceFile, coarse: Coarse) -> tuple[int | str, ...]:
    table = device.firmware.table
    return tuple(table[coarse.name]) if isinstance(table, dict) else tuple(table or ())


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
        ends = [path.gain_codes_per_v({**candidate, code: legal.values[end]}) for end in (0, -1)]
        where = ", ".join(f"{name} = {value}" for name, value in candidate.items())
        texts.append(f"{min(ends):.6g} to {max(ends):.6g} codes/V" + (f" with {where}" if where else ""))
    return f"{'; or '.join(texts)} ({code} {legal.allowed()})"
