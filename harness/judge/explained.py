"""What would explain a run: the station's own faults, else the candidates of the fault dictionary."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from harness.diagnosis import KNOWN, ODD_FRAMES, REGULAR_GAPS, Case, Diagnosis, Sight, Visit, diagnose, not_exercised
from harness.judge.claims.context import Context
from harness.judge.claims.station import STATION_FAULT
from harness.judge.measured import Captured, Measured
from harness.law import GainLaw
from harness.values import Candidate, Judgement, Outcome, Prediction, Purpose, ReadingStatus, SineFit, golden_says_of

LEAST_U_PERCENT = 0.02
"""Repeatability that the noise of one record does not show."""
LOW_HZ = 25.0
"""From here down a coupling capacitor that is wrong shows: 20 Hz is the usual test, 21 Hz three cycles of a record."""
FELT_RATIO = 0.01
"""Of the input's resistance: what stands across the input; an input that is open then raises the level by so much."""
_ALSO = re.compile(r"cannot be told apart from ([\w, -]+)")
"""How the journal names further faults of the station."""


def explanations(context: Context, judgements: Sequence[Judgement]) -> tuple[Diagnosis, tuple[str, ...]]:
    """Which faults would explain what was seen, and which could not have been seen.

    Args:
        context: the run.
        judgements: all of it.
    Returns:
        the station's faults where the journal names any, for then nothing is said about the unit, else candidates of
        the dictionary; and lines about faults that the run cannot see.
    Source:
        diagnosis.diagnose.
    """
    station = _station(context)
    case = case_of(context, context.law, judgements)
    return (Diagnosis(candidates=station) if station else diagnose(case)), not_exercised(case)


def case_of(context: Context, law: GainLaw, judgements: Sequence[Judgement]) -> Case:
    """A run as the diagnosis sees it.

    Args:
        context: the run.
        law: of the device.
        judgements: all of it.
    Returns:
        every reading, what is not met where, and the journal.
    Source:
        none: a record.
    """
    failed = _not_met(judgements)
    for channel, pooled in context.pooled.items():
        if "missing-codes" in failed.get(channel, ()) and pooled.spacing > 1:
            failed[channel].add(REGULAR_GAPS)
    return Case(
        law=law,
        visits=tuple(
            _visit(item.prediction, measured) for item in context.gathered.values() for measured in item.final
        ),
        captured=context.captured,
        failed={channel: frozenset(items) for channel, items in failed.items()},
        claimed=frozenset(claim.item for claim in judgements),
        beside=_beside(context),
        notes=tuple(event.text for event in context.events),
    )


def _beside(context: Context) -> frozenset[Sight]:
    """What the job's frequencies, its wiring and its journal show, whatever is claimed."""
    shown = set()
    asked_hz = [
        extra.rung.frequency_hz for extra in context.extras if extra.rung.purpose is Purpose.SECOND_FREQUENCY
    ]
    if any(0.0 < frequency_hz <= LOW_HZ for frequency_hz in asked_hz):
        shown.add(Sight.LOW_FREQUENCY)
    statement = context.beside.statement if context.beside is not None else None
    if statement is not None:
        source_ohm, load_ohm = statement.wiring.source_ohm, statement.wiring.load_ohm
        across_ohm = source_ohm * load_ohm / (source_ohm + load_ohm)
        if across_ohm >= FELT_RATIO * context.device.input.impedance_ohm:
            shown.add(Sight.RESISTANCE)
    if golden_says_of(context.events) is not None:
        shown.add(Sight.GOLDEN)
    return frozenset(shown)


def _not_met(judgements: Sequence[Judgement]) -> dict[int, set[str]]:
    """Items by channel; those in doubt count beside failed ones, and in other channels only where nothing failed.

    What one channel does to parts that all share can leave the others in doubt for its sake.
    """
    found: dict[int, set[str]] = {}
    # A channel that differs from the others makes them differ from it: the match alone accuses nobody.
    own = [claim for claim in judgements if claim.item != "channel-match"]
    failing = {_channel(claim) for claim in own if claim.outcome is Outcome.FAIL}
    counted = own if failing else judgements
    for claim in counted:
        doubt = claim.outcome is Outcome.INCONCLUSIVE and (not failing or _channel(claim) in failing)
        if claim.outcome is Outcome.FAIL or doubt:
            found.setdefault(_channel(claim), set()).add(claim.item)
    return found


def _channel(claim: Judgement) -> int:
    return claim.setting.channel if claim.setting else 0


def _visit(prediction: Prediction, measured: Measured) -> Visit:
    gain, captured = measured.gain_codes_per_v, measured.captured
    return Visit(
        setting=prediction.setting,
        order=measured.index,
        off_percent=100.0 * math.log(gain / prediction.gain_codes_per_v) if gain else None,
        u_percent=_u_percent(measured.fit),
        measurable=measured.status is not ReadingStatus.UNMEASURABLE,
        word=captured.value if captured else None,
        sound=captured is not None and captured.sound,
        odd=_odd(captured),
        trouble="" if gain or measured.status is ReadingStatus.UNMEASURABLE else measured.reason.split(":", 1)[0],
    )


def _odd(captured: Captured | None) -> frozenset[str]:
    """Of the channel's own gain devices."""
    if captured is None or not captured.sound:
        return frozenset()
    every = (captured, *captured.more)
    return frozenset(note for one in every for note in ODD_FRAMES if note in one.text.split())


def _u_percent(fit: SineFit | None) -> float:
    """Of one fitted amplitude: variance 2σ²/N (Kay 1993, example 3.14, from memory)."""
    if fit is None or not fit.amplitude_code > 0.0:
        return LEAST_U_PERCENT
    noise_code = math.hypot(fit.noise_code, 1.0 / math.sqrt(12.0))
    return math.hypot(LEAST_U_PERCENT, 100.0 * noise_code * math.sqrt(2.0 / fit.samples) / fit.amplitude_code)


def _station(context: Context) -> tuple[Candidate, ...]:
    found: dict[str, Candidate] = {}
    for text in (event.text for event in context.events if event.kind == STATION_FAULT):
        also = _ALSO.search(text)
        first = text.split(":", 1)[0]
        names = (first, *(name.strip() for name in (also.group(1).split(",") if also else ())))
        for name in names:
            known = KNOWN.get(name)
            found[name] = Candidate(
                fault=name,
                why=text.split(":", 1)[-1].strip(),
                test="a meter at the device's input shows what the source really puts out",
                id=known.id if known else "",
                predicts=known.shows if known else "",
                look=known.look if known else "",
                ambiguous=tuple(other for other in names if other != name),
            )
    return tuple(found.values())[:3]
