"""Words decide, waveforms confirm: what a setting or step is when both have spoken."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from harness.judge.realness import Found
from harness.judge.waveform import Compared, WaveformView
from harness.values import Realness, RealnessEvidence, Setting, WaveformFinding

DECIDED = (Realness.HARDWARE, Realness.ARITHMETIC, Realness.MIXED)


def confirm(words: Found, view: WaveformView | None) -> Found:
    """What counts of words and waveform together.

    Args:
        words: by control words and code-domain gain; unproven where they say nothing.
        view: by the waveform alone; None without records to compare.
    Returns:
        words' finding where the waveform agrees or cannot tell; the waveform's where words say nothing, a fault there
        if the codes did not follow; a fault where a word was latched and the waveform says arithmetic; unproven where
        no word was latched and it says hardware.
    Source:
        common practice, no source (decision table of words and waveform): never silently one of them.
    """
    seen = Realness.UNPROVEN if view is None else view.decision.realness
    if view is None or seen not in DECIDED:
        return words
    why, part = view.decision.why, _part(view)
    match words.realness:
        case Realness.UNPROVEN if seen is Realness.ARITHMETIC and view.still:
            said = f"{words.why}; by the waveform alone: the gain of the codes did not follow ({why})"
            return Found(realness=Realness.FAULT, ratio=1.0, why=said)
        case Realness.UNPROVEN:
            said = f"{words.why}; by the waveform alone: {why}"
            if seen is Realness.HARDWARE:
                return Found(realness=seen, ratio=1.0, why=said)
            return Found(realness=seen, ratio=part.ratio, u_ratio=part.u_ratio, why=said)
        case Realness.HARDWARE if seen is Realness.ARITHMETIC:
            said = f"words and waveform contradict: a new state was latched but not executed, for {why}"
            return Found(realness=Realness.FAULT, ratio=1.0, why=said)
        case Realness.HARDWARE if seen is Realness.MIXED:
            size = "a part" if math.isinf(part.u_ratio) else f"×{part.ratio:.5g}"
            said = f"a new state was latched, and {size} of the gain is arithmetic: {why}"
            return Found(realness=Realness.MIXED, ratio=part.ratio, u_ratio=part.u_ratio, why=said)
        case Realness.ARITHMETIC if seen is Realness.HARDWARE:
            said = "words and waveform contradict: no new word, but the waveform says hardware; is a control path not "
            return Found(realness=Realness.UNPROVEN, ratio=1.0, why=f"{said}probed? check the wiring ({why})")
        case _:
            return words


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """The arithmetic part that the waveform shows."""

    ratio: float
    u_ratio: float
    """Expanded, relative."""


def _part(view: WaveformView) -> _Part:
    """Combs of gaps are counted, the step at the input is measured; of several parts the least certain one counts."""
    ratio = view.decision.arithmetic_ratio
    known = [
        min(test.u_factor_ratio for test in c.tests if test.factor is not None)
        for c in view.compared
        if c.realness in (Realness.ARITHMETIC, Realness.MIXED) and any(test.factor is not None for test in c.tests)
    ]
    if ratio is None or not known:
        return _Part(ratio=ratio or 1.0, u_ratio=math.inf if ratio is None else 0.0)
    return _Part(ratio=ratio, u_ratio=max(known))


def contradicts(words: Found, view: WaveformView | None) -> bool:
    """Whether words and waveform cannot both be true.

    Args:
        words: by control words and code-domain gain.
        view: by the waveform alone.
    Returns:
        true when both are decided and one says hardware and the other arithmetic.
    Source:
        common practice, no source.
    """
    if view is None:
        return False
    both = {words.realness, view.decision.realness}
    return both == {Realness.HARDWARE, Realness.ARITHMETIC}


def evidence_values(
    words: Found, view: WaveformView | None, both: Found, names: Mapping[Setting, str]
) -> RealnessEvidence:
    """The ground of a decision as it goes into files and pages.

    Args:
        words: by control words and code-domain gain.
        view: by the waveform alone; None without records to compare.
        both: what counts.
        names: of settings, for people.
    Returns:
        the values.
    Source:
        none: a record.
    """
    decision = None if view is None else view.decision
    return RealnessEvidence(
        words=words.realness,
        words_why=words.why,
        waveform=_alone(view),
        waveform_why="no record to compare" if decision is None else decision.why,
        both=both.realness,
        contradiction=contradicts(words, view),
        confidence=0.5 if decision is None else decision.confidence,
        power_m=None if decision is None else decision.power_m,
        hardware_ratio=None if decision is None else decision.hardware_ratio,
        arithmetic_ratio=None if decision is None else decision.arithmetic_ratio,
        tests=() if view is None else tuple(f for c in view.compared for f in _findings(c, names)),
    )


def _alone(view: WaveformView | None) -> Realness:
    if view is None:
        return Realness.UNPROVEN
    found = view.decision.realness
    return Realness.FAULT if found is Realness.ARITHMETIC and view.still else found


def _findings(compared: Compared, names: Mapping[Setting, str]) -> list[WaveformFinding]:
    against = f"{names[compared.reference]} to {names[compared.setting]}"
    return [
        WaveformFinding(
            name=test.name, against=against, met=test.precondition_met, says=test.says.value, llr=test.llr,
            power_m=test.power_m, factor=test.factor, why=test.why,
        )
        for test in compared.tests
    ]  # fmt: skip
