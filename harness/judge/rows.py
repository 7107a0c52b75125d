"""The row of one setting: its readings together, its claims, its outcome."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from harness.config import LimitItem
from harness.judge.limits import judge_claim, judge_number
from harness.judge.measured import Measured
from harness.judge.realness import Evidence, Found
from harness.judge.verdict import worst_outcome
from harness.values import (
    Direction,
    Judgement,
    Outcome,
    Prediction,
    Quality,
    ReadingStatus,
    Realness,
    SettingResult,
    SineFit,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """All readings of one setting, reduced."""

    prediction: Prediction
    final: tuple[Measured, ...]
    """The last attempt of each rung."""
    planned: int
    """Rungs of the ladder at this setting."""
    attempts: int

    @property
    def valid(self) -> tuple[Measured, ...]:
        """The readings that carry a gain."""
        return tuple(m for m in self.final if m.gain_codes_per_v is not None)

    @property
    def gain_codes_per_v(self) -> float | None:
        """Mean of the valid readings (geometric: up and down weigh alike in percent)."""
        gains = [m.gain_codes_per_v for m in self.valid if m.gain_codes_per_v]
        return math.exp(sum(math.log(g) for g in gains) / len(gains)) if gains else None

    def residual_percent(self) -> float | None:
        """100·ln(measured/predicted)."""
        gain = self.gain_codes_per_v
        return None if gain is None else 100.0 * math.log(gain / self.prediction.gain_codes_per_v)

    def up_down_percent(self) -> float | None:
        """100·ln(up/down), last reading each way."""
        by_way = {m.direction: m.gain_codes_per_v for m in self.valid}
        up, down = by_way.get(Direction.UP), by_way.get(Direction.DOWN)
        return 100.0 * math.log(up / down) if up and down else None


def word_claim(gathered: Gathered) -> Judgement:
    """Whether exactly the planned words were latched, in every gain device, at every reading of the setting.

    Args:
        gathered: the setting's readings; their captures were taken.
    Returns:
        PASS, FAIL with the words seen, or INVALID where a capture is missing or incomplete.
    Source:
        common practice, no source: the expected word is compared only after the decoder has decided.
    """
    prediction = gathered.prediction
    expected = (prediction.state.word, *prediction.state.more)
    captured = [m.captured for m in gathered.final if m.captured is not None]
    pairs = [pair for c in captured for pair in zip((c, *c.more), expected, strict=False)]
    wrong = sorted({f"{c.text}; planned {word}" for c, word in pairs if c.sound and c.value != word.value})
    missing = sorted({c.text for c in captured if not c.sound})
    setting = prediction.setting
    if wrong:
        reason = f"{prediction.label}: word {', '.join(wrong)}"
        return judge_claim("word", Outcome.FAIL, reason, setting=setting)
    if missing or not captured:
        reason = f"{prediction.label}: no word: {', '.join(missing) or 'nothing was captured'}"
        return judge_claim("word", Outcome.INVALID, reason, setting=setting)
    return judge_claim("word", Outcome.PASS, "", setting=setting)


def gain_claims(gathered: Gathered, limit: LimitItem | None) -> tuple[Judgement, ...]:
    """Whether every planned reading of the setting could be measured, and whether its gain meets the limit.

    Args:
        gathered: the setting's readings.
        limit: on the residual, percent; None when the limits file has no such item.
    Returns:
        `measurable`: PASS, or one claim for each reading that is missing, invalid or unmeasurable; `gain` where there
        is a valid reading.
    Source:
        design rule: INVALID is neither a pass nor a product failure; no valid level from a proven source is a failure.
    """
    setting, label = gathered.prediction.setting, gathered.prediction.label
    claims: list[Judgement] = []
    for reading in gathered.final:
        if reading.status is ReadingStatus.UNMEASURABLE:
            text = f"{label}: gain not measurable: {reading.reason}"
            claims.append(judge_claim("measurable", Outcome.FAIL, text, setting=setting))
        elif reading.gain_codes_per_v is None:
            text = f"{label}: reading invalid ({reading.direction}): {reading.reason or reading.status}"
            claims.append(judge_claim("measurable", Outcome.INVALID, text, setting=setting))
    missing = gathered.planned - len(gathered.final)
    if missing > 0:
        text = f"{label}: {'not read' if not gathered.final else f'{missing} of {gathered.planned} readings missing'}"
        claims.append(judge_claim("measurable", Outcome.INVALID, text, setting=setting))
    if not claims:
        claims.append(judge_claim("measurable", Outcome.PASS, "", setting=setting))
    residual_percent = gathered.residual_percent()
    if residual_percent is not None and limit is not None:
        claims.append(judge_number(limit, residual_percent, setting=setting, where=label))
    return tuple(claims)


def realness_claim(found: Found, prediction: Prediction) -> Judgement:
    """Whether a setting is as real as the device file says.

    Args:
        found: what it turned out to be.
        prediction: with the declared arithmetic.
    Returns:
        PASS for hardware and for arithmetic of the declared factor; INCONCLUSIVE when unproven; else FAIL.
    Source:
        design rule: undeclared arithmetic is a failure, declared is noted.
    """
    declared = prediction.state.arithmetic_ratio
    setting = prediction.setting
    match found.realness:
        case Realness.HARDWARE:
            return judge_claim("realness", Outcome.PASS, "", setting=setting)
        case Realness.UNPROVEN:
            text = f"{prediction.label}: realness unproven: {found.why}"
            return judge_claim("realness", Outcome.INCONCLUSIVE, text, setting=setting)
        case Realness.ARITHMETIC if declared != 1.0 and abs(found.ratio / declared - 1.0) < 0.01:
            return judge_claim("realness", Outcome.PASS, "", setting=setting)
        case Realness.ARITHMETIC:
            said = f"declared ×{declared:g}" if declared != 1.0 else "hardware is specified"
            text = f"{prediction.label}: gain is arithmetic, {found.why}; {said}"
            return judge_claim("realness", Outcome.FAIL, text, setting=setting)
        case _:
            text = f"{prediction.label}: {found.realness}: {found.why}"
            return judge_claim("realness", Outcome.FAIL, text, setting=setting)


def row(gathered: Gathered, claims: Sequence[Judgement], found: Found, word_outcome: Outcome | None) -> SettingResult:
    """The setting's row for pages and files.

    Args:
        gathered: the setting's readings.
        claims: its own claims (steps count apart).
        found: its realness.
        word_outcome: of the word claim; None when no words are captured.
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
        word_outcome=word_outcome,
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
