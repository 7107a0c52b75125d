"""Entries for what bends: the weight of one bit, the step at the middle of the code, the output stage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.view import View


def weight_hypotheses(view: View) -> Iterator[Hypothesis]:
    """What a bit of a wrong weight would do, a step at the major carry, and an output stage without headroom.

    Args:
        view: of the channel.
    Returns:
        entries with a free size, first order in it; none for laws whose bits have no weights.
    Source:
        sensitivities of ln G, by the law; the fundamental of x - k·x³ falls by 3/4·k·x².
    """
    for stage in view.law.path.hardware():
        weights = [parameter for parameter in stage.law.parameters() if parameter.weight]
        if not weights:
            continue
        slopes = stage.law.sensitivities(view.arrays, {})
        for bit, parameter in enumerate(weights):
            slope = np.broadcast_to(np.asarray(slopes[parameter.name], dtype=np.float64), (view.count,))
            if np.any(slope != 0.0) and np.ptp(slope) > 0.0:
                yield _sized("bit-weight-wrong", f"bit {bit}", slope.copy())
        yield from _carry(view, len(weights))
    if not any(parameter.weight for stage in view.law.path.hardware() for parameter in stage.law.parameters()):
        yield from _without_weights(view)
    yield from _compression(view)


def _without_weights(view: View) -> Iterator[Hypothesis]:
    """A law that is linear in dB: a bit that is off moves the code, and the gain by so many steps."""
    codes = view.arrays.get(view.law.code_control)
    if codes is None or not view.count or int(codes.min()) < 1:
        return
    step_percent = -view.log_gains_percent({**view.arrays, view.law.code_control: codes - 1})
    bits = [bit for bit in range(int(codes.max()).bit_length()) if np.ptp(codes >> bit & 1) > 0]
    for bit in bits:
        yield _sized("bit-weight-wrong", f"bit {bit}", (codes >> bit & 1) * 2.0**bit * step_percent / 100.0)
    if bits:
        yield _sized("major-carry-step", "step", (codes >> bits[-1] & 1).astype(np.float64), prior=0.5)


def _compression(view: View) -> Iterator[Hypothesis]:
    """At constant fill nothing, but where arithmetic makes up part of the fill the amplifiers see less of it."""
    pattern_percent = view.law.arithmetic_ratio[view.index] ** -2.0
    if view.count and np.ptp(pattern_percent) > 0.0:
        bent = _sized("output-compression", "at the level of the amplifiers", pattern_percent)
        yield replace(bent, explains=frozenset({"two-level", "noise"}))


def _carry(view: View, bits: int) -> Iterator[Hypothesis]:
    """A saw-tooth: half the step down at the low side of the carry, half up at its high side, gone at both ends."""
    codes = view.arrays[view.law.code_control].astype(np.float64)
    half = 2.0 ** (bits - 1)
    shape = np.where(codes >= half, 0.5 * (2.0 - codes / half), -0.5 * codes / half)
    for what, pattern_percent in (("saw-tooth", shape), ("step", (codes >= half).astype(np.float64))):
        if np.ptp(pattern_percent) > 0.0:
            yield _sized("major-carry-step", what, pattern_percent, prior=0.5)


def _sized(fault: str, what: str, pattern_percent: np.ndarray, *, prior: float = 0.0) -> Hypothesis:
    return Hypothesis(fault=fault, what=what, pattern_percent=pattern_percent, sized=True, unit="percent", prior=prior)
