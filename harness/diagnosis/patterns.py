"""Patterns in one channel: words, relays, pre-gain, bits, one factor."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from harness.diagnosis.exact_factors import match_factor
from harness.diagnosis.observation import Observation
from harness.values import Candidate, Realness

WRONG_PERCENT = 2.0
"""Residuals above this are wrong for a pattern; the guard band's inner edge would catch healthy spread."""


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


def _split(
    observations: Sequence[Observation], belongs: Callable[[Observation], bool]
) -> tuple[float, float] | None:
    """Mean residual, percent, of those that belong, when all of them are alike and all the others are right."""
    inside = [o.residual_percent or 0.0 for o in observations if belongs(o)]
    outside = [o.residual_percent or 0.0 for o in observations if not belongs(o)]
    if len(inside) < 2 or not outside:
        return None
    mean = sum(inside) / len(inside)
    alike = max(inside) - min(inside) < max(WRONG_PERCENT, 0.2 * abs(mean))
    if alike and abs(mean) > WRONG_PERCENT and all(abs(r) <= WRONG_PERCENT for r in outside):
        return mean, max(inside) - min(inside)
    return None


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
        block = _split(observations, lambda o, relay=relay: relay in o.relays)  # type: ignore[misc]
        if block is None:
            continue
        off = _ratio_text(block[0])
        why = f"{_place(observations)}: every range that needs {relay} is off by {off}, the others are right"
        fault = "relay-not-picking" if abs(block[0]) > 100.0 else "attenuator-resistor-wrong"
        found.append(Candidate(fault=fault, why=why, test=f"coil current of {relay}; the same ranges at DC"))
    return tuple(found)


def _pregain(observations: Sequence[Observation]) -> tuple[Candidate, ...]:
    names = [name for name in observations[0].controls if name == "pregain"]
    for name in names:
        block = _split(observations, lambda o: o.controls[name] == 1)  # noqa: B023 - used at once
        if block is not None:
            why = f"{_place(observations)}: every setting with pre-gain on is off by {_ratio_text(block[0])}"
            return (Candidate(fault="pregain-ratio-wrong", why=why, test="pre-gain on against off at one code"),)
    return ()


def _bit(observations: Sequence[Observation], code_control: str) -> tuple[Candidate, ...]:
    """A stuck bit takes exactly its weight: G/L - 1 = -2^i/c where bit i is set (or +2^i/c where clear), else 0."""
    best: tuple[float, str, int] | None = None
    bits = max(int(o.controls[code_control]) for o in observations).bit_length()
    for stuck_high in (False, True):
        for bit in range(bits):
            misfit = max(abs(_miss(o, code_control, bit, stuck_high)) for o in observations)
            if misfit < 0.02 and (best is None or misfit < best[0]):
                best = (misfit, "data-bit-stuck-high" if stuck_high else "data-bit-stuck-low", bit)
    if best is None:
        return ()
    state = "set" if best[1].endswith("low") else "clear"
    verb = "lacks" if state == "set" else "has too much by"
    why = f"{_place(observations)}: the gain {verb} exactly bit {best[2]} wherever it should be {state}; words right"
    return (Candidate(fault=best[1], why=why, test=f"level at data input bit {best[2]} of the gain device"),)


def _miss(observation: Observation, control: str, bit: int, stuck_high: bool) -> float:
    code = int(observation.controls[control])
    affected = bool(code >> bit & 1) != stuck_high
    expected = (2**bit / code) * (1.0 if stuck_high else -1.0) if affected else 0.0
    return math.exp((observation.residual_percent or 0.0) / 100.0) - 1.0 - expected
