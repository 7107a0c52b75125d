"""Claim: both polarities reach the end of the converter before an amplifier runs out of supply."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Scope
from harness.judge.limits import judge_value, not_measured
from harness.judge.waveform.clip import LEVEL_RATIO
from harness.values import Judgement, Purpose


def _judge(context: Context) -> tuple[Judgement, ...]:
    """Level of the polarity that is cut off earlier against the end of the converter, percent; 0 at that end.

    Where arithmetic makes up part of the codes it is what brings them to their end: nothing is said there.
    """
    converter = context.device.converter
    # Codes may begin at 0: what a polarity reaches counts from the middle.
    middle = (converter.low_code + converter.high_code + 1) // 2
    claims = []
    for setting, extras in context.taken(Purpose.OVERDRIVEN).items():
        limit, extra = context.limit("clip-level", setting), extras[-1]
        if limit is None or extra.rung.prediction.state.arithmetic_ratio != 1.0:
            continue
        label, found = extra.rung.prediction.label, extra.overdriven
        if found is None or not found.flat:
            why = extra.reason or "the record stands still at neither end: look at the gain and at the source's level"
            claims.append(not_measured(limit, f"{label}: {why}", setting=setting))
            continue
        ends = (
            ("negative", (found.low - middle) / (converter.low_code - middle)),
            ("positive", (found.high - middle) / (converter.high_code - middle)),
        )
        polarity, ratio = min(ends, key=lambda end: end[1])
        where = f"{label}, fill {extra.rung.fill_ratio:.3g}, {polarity} peaks"
        expanded = 200.0 * LEVEL_RATIO
        claims.append(judge_value(limit, 100.0 * (ratio - 1.0), setting=setting, where=where, expanded=expanded))
    return tuple(claims)


CLIP_LEVEL = ClaimKind(
    item="clip-level",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset(),
    judge=_judge,
    purposes=frozenset({Purpose.OVERDRIVEN}),
    of_hardware=True,
)
