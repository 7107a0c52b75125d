"""Claims: the noise of a setting, in codes under signal and in volts at the input with the source off."""

from __future__ import annotations

import math

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.extra_reading import ExtraMeasured
from harness.judge.limits import SIZE, judge_value, not_measured
from harness.judge.many import Asked, judge_numbers
from harness.judge.uncertainty import Shape, deviation_ratio, rounding_of_deviation_code, standard_ratio
from harness.values import Judgement, Purpose

UV_PER_V = 1.0e6


def _judge(context: Context) -> tuple[Judgement, ...]:
    """Quadratic mean over the readings of the ladder, rms around the fitted sine."""
    asked = []
    for setting, item in context.gathered.items():
        limit, fits = context.limit("noise", setting), [m.fit for m in item.valid if m.fit is not None]
        if limit is None or not fits:
            continue
        noise_code = math.sqrt(math.fsum(fit.noise_code**2 for fit in fits) / len(fits))
        samples = sum(fit.samples for fit in fits)
        # The rms of n normal samples scatters by 1/sqrt(2n) of itself (Kay 1993, from memory).
        expanded = 2.0 * noise_code / math.sqrt(2.0 * samples)
        asked.append(Asked(limit, noise_code, setting, item.prediction.label, expanded, said=SIZE))
    return judge_numbers(asked)


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
        to_uv = UV_PER_V / prediction.gain_codes_per_v
        expanded = _expanded_code(quiet, step=prediction.state.arithmetic_ratio)
        claims.append(
            judge_value(
                limit,
                to_uv * quiet.noise_code,
                setting=setting,
                where=prediction.label,
                expanded=to_uv * expanded,
            )
        )
    return tuple(claims)


def _expanded_code(quiet: ExtraMeasured, *, step: float) -> float:
    """U of a standard deviation: chance by its degrees of freedom, and what rounding may have pulled it."""
    noise_code = quiet.noise_code or 0.0
    flat = rounding_of_deviation_code(noise_code / step) * step * standard_ratio(Shape.RECTANGULAR)
    return 2.0 * math.hypot(noise_code * deviation_ratio(quiet.noise_dof), flat)


NOISE = ClaimKind(item="noise", unit="codes rms", scope=Scope.SETTING, needs=frozenset({Need.READINGS}), judge=_judge)
INPUT_NOISE = ClaimKind(
    item="input-noise",
    unit="uV rms",
    scope=Scope.SETTING,
    needs=frozenset(),
    judge=_judge_quiet,
    purposes=frozenset({Purpose.QUIET}),
)
