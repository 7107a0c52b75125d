"""Claims: the noise of a setting, in codes under signal and in volts at the input with the source off."""

from __future__ import annotations

import math

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_value, not_measured
from harness.values import Judgement, Purpose

UV_PER_V = 1.0e6


def _judge(context: Context) -> tuple[Judgement, ...]:
    """Quadratic mean over the readings of the ladder, rms around the fitted sine."""
    claims = []
    for setting, item in context.gathered.items():
        limit, fits = context.limit("noise", setting), [m.fit for m in item.valid if m.fit is not None]
        if limit is None or not fits:
            continue
        noise_code = math.sqrt(math.fsum(fit.noise_code**2 for fit in fits) / len(fits))
        samples = sum(fit.samples for fit in fits)
        claims.append(
            judge_value(
                limit,
                noise_code,
                setting=setting,
                where=item.prediction.label,
                # The rms of n normal samples scatters by 1/sqrt(2n) of itself (Kay 1993, from memory).
                expanded=2.0 * noise_code / math.sqrt(2.0 * samples),
            )
        )
    return tuple(claims)


def _judge_quiet(context: Context) -> tuple[Judgement, ...]:
    """RMS of the codes with the source off, over the predicted gain: a wrong gain is another claim."""
    claims = []
    for setting, extras in context.taken(Purpose.QUIET).items():
        limit, quiet = context.limit("input-noise", setting), extras[-1]
        if limit is None:
            continue
        prediction = quiet.rung.prediction
        if quiet.noise_code is None:
            claims.append(not_measured(limit, f"{prediction.label}: {quiet.reason}", setting=setting))
            continue
        noise_uv = UV_PER_V * quiet.noise_code / prediction.gain_codes_per_v
        claims.append(judge_value(limit, noise_uv, setting=setting, where=prediction.label))
    return tuple(claims)


NOISE = ClaimKind(item="noise", unit="codes rms", scope=Scope.SETTING, needs=frozenset({Need.READINGS}), judge=_judge)
INPUT_NOISE = ClaimKind(
    item="input-noise",
    unit="uV rms",
    scope=Scope.SETTING,
    needs=frozenset(),
    judge=_judge_quiet,
    purposes=frozenset({Purpose.QUIET}),
)
