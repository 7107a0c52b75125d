"""The row of one setting: its readings together, its evidence, its outcome."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from harness.amplitude import Flag
from harness.judge.measured import Measured
from harness.judge.realness import Evidence, Found
from harness.judge.verdict import worst_outcome
from harness.values import Direction, Judgement, Prediction, Quality, SettingResult, SineFit


@dataclass(frozen=True, kw_only=True)
class Gathered:
    """All readings of one setting, reduced; what every claim asks for is worked out once."""

    prediction: Prediction
    final: tuple[Measured, ...]
    """The last attempt of each rung."""
    planned: int
    """Rungs of the ladder at this setting."""
    attempts: int
    tries_codes_per_v: tuple[float, ...] = ()
    """The most that the whole span of each superseded record allows for the gain."""

    @cached_property
    def valid(self) -> tuple[Measured, ...]:
        """The readings that carry a gain."""
        return tuple(m for m in self.final if m.gain_codes_per_v is not None)

    @cached_property
    def gain_codes_per_v(self) -> float | None:
        """Mean of the valid readings (geometric: up and down weigh alike in percent)."""
        gains = [m.gain_codes_per_v for m in self.valid if m.gain_codes_per_v]
        return math.exp(sum(math.log(g) for g in gains) / len(gains)) if gains else None

    @cached_property
    def flags(self) -> tuple[Flag, ...]:
        """What is remarkable about the valid readings."""
        return tuple(flag for m in self.valid for flag in m.flags)

    def residual_percent(self) -> float | None:
        """100·ln(measured/predicted)."""
        gain = self.gain_codes_per_v
        return None if gain is None else 100.0 * math.log(gain / self.prediction.gain_codes_per_v)

    def up_down_percent(self) -> float | None:
        """100·ln(up/down), last reading each way."""
        by_way = {m.direction: m.gain_codes_per_v for m in self.valid}
        up, down = by_way.get(Direction.UP), by_way.get(Direction.DOWN)
        return 100.0 * math.log(up / down) if up and down else None


def row(
    gathered: Gathered, claims: Sequence[Judgement], found: Found, fitted_percent: float | None = None
) -> SettingResult:
    """The setting's row for pages and files.

    Args:
        gathered: the setting's readings.
        claims: its own claims (steps count apart).
        found: its realness.
        fitted_percent: residual to the fitted law; None where the setting took no part in the fit.
    Returns:
        the row.
    Source:
        none: a record.
    """
    first = gathered.valid[0] if gathered.valid else None
    fit: SineFit | None = first.fit if first else None
    quality: Quality | None = first.quality if first else None
    outcome = worst_outcome([claim.outcome for claim in claims])
    return SettingResult(
        setting=gathered.prediction.setting,
        label=gathered.prediction.label,
        outcome=outcome,
        reason=next((claim.reason for claim in claims if claim.outcome is outcome and claim.reason), ""),
        expected_word=gathered.prediction.state.word,
        captured_words=tuple(sorted({m.captured.text for m in gathered.final if m.captured is not None})),
        word_outcome=next((claim.outcome for claim in claims if claim.item == "word"), None),
        predicted_codes_per_v=gathered.prediction.gain_codes_per_v,
        measured_codes_per_v=gathered.gain_codes_per_v,
        residual_percent=gathered.residual_percent(),
        up_down_percent=gathered.up_down_percent(),
        drive_vpk=first.drive_vpk if first else None,
        fill_ratio=quality.fill_ratio if quality else None,
        offset_code=fit.offset_code if fit else None,
        noise_code=fit.noise_code if fit else None,
        code_spacing=quality.code_spacing if quality else None,
        realness=found.realness,
        arithmetic_ratio=found.ratio,
        attempts=gathered.attempts,
        fitted_percent=fitted_percent,
        flags=tuple(dict.fromkeys(flag.name for flag in gathered.flags)),
    )


def evidence_of(
    gathered: Gathered, *, relays: frozenset[str], hardware_of: Callable[[Mapping[str, int]], float]
) -> Evidence:
    """What the realness decision may know of a setting.

    Args:
        gathered: the setting's readings.
        relays: commanded by the range.
        hardware_of: the law's analog gain, codes/V, when latches hold these words and the rest is as planned.
    Returns:
        the evidence; readings with different words of a gain device leave that word unknown.
    Source:
        none: a record.
    """
    captured = [m.captured for m in gathered.final if m.captured is not None]
    state = gathered.prediction.state
    planned = (state.word, *state.more)
    words = tuple(_only(c.all_values(len(planned))[place] for c in captured) for place in range(len(planned)))
    latched = {plan.latch: word for plan, word in zip(planned, words, strict=True) if word is not None}
    spacings = {m.quality.code_spacing for m in gathered.valid if m.quality is not None}
    return Evidence(
        setting=gathered.prediction.setting,
        word=words[0],
        further=words[1:],
        sound=bool(captured) and all(c.sound for c in captured),
        relays=relays,
        gain_codes_per_v=gathered.gain_codes_per_v,
        hardware_codes_per_v=hardware_of(latched),
        planned_codes_per_v=gathered.prediction.gain_codes_per_v,
        declared_ratio=state.arithmetic_ratio,
        code_spacing=min(spacings) if spacings else 1,
    )


def _only(values: Iterable[int | None]) -> int | None:
    """The value that all readings share; None where they differ or there is none."""
    distinct = set(values)
    return distinct.pop() if len(distinct) == 1 else None
