"""Patterns in one channel: words, relays, pre-gain, bits, one factor."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.diagnosis.exact_factors import match_factor
from harness.diagnosis.observation import Observation
from harness.values import Candidate, Realness

WRONG_PERCENT = 2.0
"""Residuals above this are wrong for a pattern; healthy ones stay below."""
GIANT_PERCENT = 100.0
"""Beyond ×2.7 either way no resistor is merely wrong: the relay did not move."""
BIT_MISFIT_RATIO = 0.02
"""How exactly a stuck bit must explain every gain of the channel."""
PREGAIN = "pregain"
"""The control of a pre-gain switch."""


def of_channel(observations: Sequence[Observation], *, code_control: str) -> tuple[Candidate, ...]:
    """What would explain one channel.

    Args:
        observations: every setting of the channel that was read.
        code_control: name of the control that holds the fine code.
    Returns:
        candidates, the likeliest first; words before gain, because a wrong word explains a wrong gain.
    Source:
        signatures of single faults (common practice, no source).
    """
    if not observations:
        return ()
    words = _no_latch(observations) or _arithmetic(observations)
    if words:
        return words
    residuals = [o for o in observations if o.residual_percent is not None]
    wrong = [o for o in residuals if abs(o.residual_percent or 0.0) > WRONG_PERCENT]
    if not wrong:
        return ()
    return (*_one_factor(residuals), *_relay(residuals), *_pregain(residuals), *_bit(residuals, code_control))


def _place(observations: Sequence[Observation]) -> str:
    return f"channel {observations[0].setting.channel}"


def _no_latch(observations: Sequence[Observation]) -> tuple[Candidate, ...]:
    silent = [o for o in observations if o.capture_sound and o.captured_word is None]
    if len(silent) < len(observations):
        return ()
    why = f"{_place(observations)}: the bus carries words, this channel's latch never fires, the gain is frozen"
    return (Candidate(fault="latch-missing", why=why, test="look at the latch line at the gain device"),)


def _arithmetic(observations: Sequence[Observation]) -> tuple[Candidate, ...]:
    undeclared = [o for o in observations if o.realness is Realness.ARITHMETIC and o.declared_ratio == 1.0]
    if not undeclared:
        return ()
    why = f"{_place(observations)}: {len(undeclared)} settings change their gain without a new word"
    return (Candidate(fault="fine-gain-arithmetic", why=why, test="code gaps in the raw record; noise at the input"),)


def _block(observations: Sequence[Observation], belongs: Sequence[bool]) -> float | None:
    """Mean residual, percent, of those that belong, when they are wrong and alike while all the others are right."""
    pairs = list(zip(observations, belongs, strict=True))
    inside = [o.residual_percent or 0.0 for o, mine in pairs if mine]
    outside = [o.residual_percent or 0.0 for o, mine in pairs if not mine]
    if len(inside) < 2 or not outside or any(abs(r) > WRONG_PERCENT for r in outside):
        return None
    mean = sum(inside) / len(inside)
    alike = max(inside) - min(inside) < max(WRONG_PERCENT, 0.2 * abs(mean))
    return mean if alike and abs(mean) > WRONG_PERCENT else None


def _ratio_text(mean_percent: float) -> str:
    return f"×{math.exp(mean_percent / 100.0):.4g}"


def _one_factor(observations: Sequence[Observation]) -> tuple[Candidate, ...]:
    values = [o.residual_percent or 0.0 for o in observations]
    mean = sum(values) / len(values)
    if max(values) - min(values) > WRONG_PERCENT or abs(mean) <= WRONG_PERCENT:
        return ()
    factor = match_factor(math.exp(mean / 100.0))
    why = f"{_place(observations)}: every setting is off by {_ratio_text(mean)}"
    if factor and mean > 0.0:
        return (Candidate(fault="load-resistor-missing", why=why, test="add an outside load of 1 kΩ"),)
    return (Candidate(fault="load-resistor-wrong", why=why, test="another channel; output clip level"),)


def _relay(observations: Sequence[Observation]) -> tuple[Candidate, ...]:
    found: list[Candidate] = []
    for relay in sorted({name for o in observations for name in o.relays}):
        off_percent = _block(observations, [relay in o.relays for o in observations])
        if off_percent is None:
            continue
        off = _ratio_text(off_percent)
        why = f"{_place(observations)}: every range that needs {relay} is off by {off}, the others are right"
        fault = "relay-not-picking" if abs(off_percent) > GIANT_PERCENT else "attenuator-resistor-wrong"
        found.append(Candidate(fault=fault, why=why, test=f"coil current of {relay}; the same ranges at DC"))
    return tuple(found)


def _pregain(observations: Sequence[Observation]) -> tuple[Candidate, ...]:
    off_percent = _block(observations, [o.controls.get(PREGAIN) == 1 for o in observations])
    if off_percent is None:
        return ()
    why = f"{_place(observations)}: every setting with pre-gain on is off by {_ratio_text(off_percent)}"
    return (Candidate(fault="pregain-ratio-wrong", why=why, test="pre-gain on against off at one code"),)


def _bit(observations: Sequence[Observation], code_control: str) -> tuple[Candidate, ...]:
    """A stuck bit takes exactly its weight: G/L - 1 = -2^i/c where bit i is set (or +2^i/c where clear), else 0."""
    codes = [code for o in observations if isinstance(code := o.controls.get(code_control), int) and code > 0]
    if len(codes) < len(observations):
        return ()
    errors = [math.exp((o.residual_percent or 0.0) / 100.0) - 1.0 for o in observations]
    misfits = {
        (stuck, bit): max(abs(error - _stuck(code, bit, stuck)) for code, error in zip(codes, errors, strict=True))
        for stuck in (0, 1)
        for bit in range(max(codes).bit_length())
    }
    stuck, bit = min(misfits, key=lambda pair: misfits[pair])
    if misfits[stuck, bit] >= BIT_MISFIT_RATIO:
        return ()
    seen = (
        f"lacks exactly bit {bit} wherever it should be set" if not stuck else f"has bit {bit} wherever it should not"
    )
    why = f"{_place(observations)}: the gain {seen}; words right"
    fault = "data-bit-stuck-high" if stuck else "data-bit-stuck-low"
    return (Candidate(fault=fault, why=why, test=f"level at data input bit {bit} of the gain device"),)


def _stuck(code: int, bit: int, level: int) -> float:
    """Relative error of a gain proportional to the code when one bit always reads `level`."""
    return float(((code | 1 << bit) if level else (code & ~(1 << bit))) - code) / code
