"""From the tests, with or without control words, to what a step is."""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.errors import NotFinite
from harness.judge.waveform.result import LLR_CAP, Says, WaveformTest
from harness.values import Realness

WHOLE_RATIO = 0.02
"""A factor this near to the name's, relative in the logarithm's unit, is all of it; so near to 1 it is none."""
AGREE_RATIO = 0.02
"""Two tests that find factors this near have found the same."""
WORD_AGREE_PERCENT = 1.0
"""A gain this near to the words' agrees with it, and within a third of the step."""
COUNTS = frozenset({"W2", "W2'"})
"""Tests that exclude the named factor only: a mixed step of another factor looks like hardware to them."""
PHYSICAL = frozenset({"W3", "W4", "W6", "W7"})
"""Tests that averaging or interpolation left on by mistake cannot turn into hardware, unlike counts of codes."""


class Words(enum.StrEnum):
    """What the bus said between the two settings."""

    NEW_WORD = "new-word"
    SAME_WORD = "same-word"
    NOT_CAPTURED = "not-captured"


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What a step is, and on what ground."""

    realness: Realness
    confidence: float
    """Probability that the class is right, at even odds before; 0.5 for unproven."""
    why: str
    power_m: float | None
    """Smallest magnification that these records could have told; None when none."""
    hardware_ratio: float | None
    """Hardware part of the named ratio; None where it is not known."""
    arithmetic_ratio: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """The tests of a step, sorted."""

    hardware: tuple[WaveformTest, ...]
    arithmetic: tuple[WaveformTest, ...]
    """All of the ratio."""
    partial: tuple[WaveformTest, ...]
    """Tests that found an arithmetic factor between 1 and the ratio, beyond their doubt."""
    silent: tuple[WaveformTest, ...]


def factorise(tests: Sequence[WaveformTest], *, ratio: float) -> tuple[float | None, float | None]:
    """How a named ratio splits into hardware and arithmetic.

    Args:
        tests: of one step.
        ratio: by name, > 0.
    Returns:
        hardware and arithmetic ratio, their product is `ratio`; (None, None) when no test found a factor. A comb of
        gaps knows the factor best, then the step at the input.
    Raises:
        NotFinite: the ratio is not a positive finite number.
    Source:
        common practice, no source: displayed gain over code-domain gain.
    """
    _check(ratio)
    known = {test.name: test.factor for test in tests if test.precondition_met and test.factor is not None}
    for name in ("W2", "W2'", "W7", "W1"):
        if name in known:
            factor = known[name]
            return ratio / factor, factor
    return None, None


def combine(
    tests: Sequence[WaveformTest],
    words: Words,
    *,
    ratio: float,
    word_ratio: float | None = None,
    measured_ratio: float | None = None,
) -> Decision:
    """What a step is: hardware, arithmetic, mixed, fault or unproven.

    Control words decide, waveforms confirm or contradict. Without words two tests must agree and none contradict; for
    hardware one of them must be physical (noise, clip level, offset, raw codes), since averaging left on by mistake
    fills the gaps that arithmetic leaves.

    Args:
        tests: of the step, in any order.
        words: what the bus said.
        ratio: of the two settings by name, > 0.
        word_ratio: gain ratio of the two words by the law; None when it is not known.
        measured_ratio: code-domain gain ratio that was measured; None when it is not known.
    Returns:
        the decision with both factors where they are known.
    Raises:
        NotFinite: a ratio is not a positive finite number.
    Source:
        common practice, no source (decision table of words and tests W1 to W7).
    """
    for value in (ratio, word_ratio, measured_ratio):
        if value is not None:
            _check(value)
    evidence = sort_tests(tests, ratio=ratio)
    match words:
        case Words.NEW_WORD:
            realness, why = _new_word(evidence, ratio, word_ratio, measured_ratio)
        case Words.SAME_WORD:
            realness, why = _same_word(evidence)
        case Words.NOT_CAPTURED:
            realness, why = _no_capture(evidence)
    powers = [test.power_m for test in tests if test.precondition_met and test.power_m is not None]
    hardware_ratio, arithmetic_ratio = _ratios(realness, tests, ratio)
    return Decision(
        realness=realness,
        confidence=_confidence(realness, evidence, words),
        why=why,
        power_m=min(powers, default=None),
        hardware_ratio=hardware_ratio,
        arithmetic_ratio=arithmetic_ratio,
    )


def sort_tests(tests: Sequence[WaveformTest], *, ratio: float) -> Evidence:
    """Which tests speak for what.

    Args:
        tests: of one step.
        ratio: by name, > 0.
    Returns:
        the tests by what they say.
    Source:
        common practice, no source.
    """
    hardware, arithmetic, partial, silent = [], [], [], []
    for test in tests:
        if not test.precondition_met:
            silent.append(test)
        elif _is_partial(test, ratio):
            partial.append(test)
        elif test.says is Says.HARDWARE:
            hardware.append(test)
        elif test.says is Says.ARITHMETIC:
            arithmetic.append(test)
        else:
            silent.append(test)
    return Evidence(
        hardware=tuple(hardware), arithmetic=tuple(arithmetic), partial=tuple(partial), silent=tuple(silent)
    )


def _is_partial(test: WaveformTest, ratio: float) -> bool:
    if test.factor is None or test.says is Says.HARDWARE:
        return False
    if test.name == "W1" and (test.says is Says.ARITHMETIC or test.llr != 0.0):
        return False
    whole, found = math.log(ratio), math.log(test.factor)
    if test.name == "W2":
        # A comb is exact: another factor than the name's is another factor.
        return test.says is Says.ARITHMETIC and abs(found - whole) > 1e-4
    return min(abs(found), abs(found - whole)) > WHOLE_RATIO


def _new_word(
    evidence: Evidence, ratio: float, word_ratio: float | None, measured_ratio: float | None
) -> tuple[Realness, str]:
    named = _named(evidence.hardware)
    if evidence.partial and not evidence.arithmetic:
        if _is_proven(evidence.partial, ratio, word_ratio):
            return Realness.MIXED, f"a new word was latched, and {_told(evidence.partial)}"
        return Realness.UNPROVEN, f"a new word was latched; a part seems arithmetic: {_told(evidence.partial)}"
    if evidence.arithmetic and not evidence.hardware and not evidence.partial:
        if len(evidence.arithmetic) >= 2:
            return Realness.FAULT, f"a new word was latched but not executed: {_told(evidence.arithmetic)}"
        return Realness.UNPROVEN, f"a new word was latched, but one test says arithmetic: {_told(evidence.arithmetic)}"
    if evidence.arithmetic:
        return Realness.UNPROVEN, _contradiction(evidence)
    agrees = _agrees(word_ratio, measured_ratio)
    if any(test.name not in COUNTS for test in evidence.hardware) and agrees is not False:
        return Realness.HARDWARE, f"a new word was latched, and {named} confirm it"
    if word_ratio is None or measured_ratio is None:
        silent = _told(evidence.hardware) or _silence(evidence)
        return Realness.UNPROVEN, f"a new word was latched, but nothing confirms it: {silent}"
    moved = f"the word stands for ×{word_ratio:.5g}, the gain moved by ×{measured_ratio:.5g}"
    if agrees:
        return Realness.HARDWARE, f"a new word was latched: {moved}"
    if abs(math.log(measured_ratio)) <= _allowed(word_ratio) and _allowed(word_ratio) >= WORD_AGREE_PERCENT / 100.0:
        return Realness.FAULT, f"a new word was latched, but not executed: {moved}"
    return Realness.UNPROVEN, f"a new word was latched, but {moved}: arithmetic beside it, or a wrong gain"


def _is_proven(partial: Sequence[WaveformTest], ratio: float, word_ratio: float | None) -> bool:
    """Whether a part is arithmetic beyond doubt: by a comb of gaps, by two tests, or as the words leave it."""
    if len(partial) >= 2 or any(test.name in COUNTS for test in partial):
        return True
    factor = partial[0].factor
    if word_ratio is None or factor is None:
        return False
    return abs(math.log(factor) - math.log(ratio / word_ratio)) < AGREE_RATIO


def _allowed(word_ratio: float) -> float:
    return min(WORD_AGREE_PERCENT / 100.0, abs(math.log(word_ratio)) / 3.0)


def _agrees(word_ratio: float | None, measured_ratio: float | None) -> bool | None:
    """Whether the gain moved as the words say; None when that is not known."""
    if word_ratio is None or measured_ratio is None:
        return None
    return abs(math.log(measured_ratio / word_ratio)) <= _allowed(word_ratio) and word_ratio != 1.0


def _same_word(evidence: Evidence) -> tuple[Realness, str]:
    if evidence.hardware and not evidence.arithmetic:
        text = "but the waveform says hardware: is a control path not probed? check the wiring"
        return Realness.UNPROVEN, f"no new word, {text} ({_told(evidence.hardware)})"
    if evidence.hardware:
        return Realness.UNPROVEN, _contradiction(evidence)
    if evidence.partial and not evidence.arithmetic:
        return Realness.UNPROVEN, f"no new word, but only part of the step is arithmetic: {_told(evidence.partial)}"
    if evidence.arithmetic:
        return Realness.ARITHMETIC, f"no new word, and {_told(evidence.arithmetic)}"
    return Realness.ARITHMETIC, f"no new word; no waveform confirms or contradicts it: {_silence(evidence)}"


def _no_capture(evidence: Evidence) -> tuple[Realness, str]:
    if evidence.partial:
        factors = [math.log(test.factor) for test in evidence.partial if test.factor is not None]
        alike = max(factors) - min(factors) < AGREE_RATIO
        if len(evidence.partial) >= 2 and alike and not evidence.arithmetic:
            return Realness.MIXED, _told(evidence.partial)
        return Realness.UNPROVEN, f"a part of the step seems arithmetic, but not surely: {_told(evidence.partial)}"
    if evidence.hardware and evidence.arithmetic:
        return Realness.UNPROVEN, _contradiction(evidence)
    if len(evidence.arithmetic) >= 2:
        return Realness.ARITHMETIC, _told(evidence.arithmetic)
    if len(evidence.hardware) >= 2 and any(test.name in PHYSICAL for test in evidence.hardware):
        return Realness.HARDWARE, _told(evidence.hardware)
    if len(evidence.hardware) >= 2:
        text = "counts of codes alone: averaging would look the same; noise, clip level or offset must confirm"
        return Realness.UNPROVEN, f"{_told(evidence.hardware)}; {text}"
    one = evidence.hardware or evidence.arithmetic
    if one:
        return Realness.UNPROVEN, f"one test only: {_told(one)}; {_silence(evidence)}"
    return Realness.UNPROVEN, _silence(evidence)


def _ratios(realness: Realness, tests: Sequence[WaveformTest], ratio: float) -> tuple[float | None, float | None]:
    match realness:
        case Realness.HARDWARE:
            return ratio, 1.0
        case Realness.ARITHMETIC:
            return 1.0, ratio
        case Realness.MIXED:
            return factorise(tests, ratio=ratio)
        case _:
            return None, None


def _confidence(realness: Realness, evidence: Evidence, words: Words) -> float:
    match realness:
        case Realness.HARDWARE:
            weight = sum(test.llr for test in evidence.hardware)
        case Realness.ARITHMETIC | Realness.FAULT:
            weight = -sum(test.llr for test in evidence.arithmetic)
        case Realness.MIXED:
            weight = sum(max(abs(test.llr), LLR_CAP / 2.0) for test in evidence.partial)
        case _:
            return 0.5
    if words is not Words.NOT_CAPTURED:
        weight += LLR_CAP
    return 1.0 / (1.0 + math.exp(-weight))


def _check(ratio: float) -> None:
    if not (math.isfinite(ratio) and ratio > 0.0):
        raise NotFinite(f"waveform decision: ratio is {ratio!r}; allowed is a positive finite number")


def _named(tests: Sequence[WaveformTest]) -> str:
    return ", ".join(test.name for test in tests)


def _told(tests: Sequence[WaveformTest]) -> str:
    return "; ".join(f"{test.name}: {test.why}" for test in tests)


def _silence(evidence: Evidence) -> str:
    return _told(evidence.silent) or "no test was made"


def _contradiction(evidence: Evidence) -> str:
    pro, contra = _named(evidence.hardware), _named(evidence.arithmetic)
    parts = [f"{pro} say hardware"] if pro else []
    parts += [f"{_named(evidence.partial)} say a part is arithmetic"] if evidence.partial else []
    return "the tests contradict: " + ", ".join([*parts, f"{contra} say arithmetic"])
