"""What would explain a run: the station's own faults, else the candidates of the fault dictionary."""

from __future__ import annotations

from collections.abc import Sequence

from harness.diagnosis import Observation, candidates
from harness.judge.claims import Context
from harness.judge.claims.station import STATION_FAULT
from harness.values import Candidate, Setting


def explanations(context: Context) -> tuple[Candidate, ...]:
    """Which faults would explain what was seen.

    Args:
        context: the run.
    Returns:
        the station's faults where the journal names any, for then nothing is said about the unit; else candidates.
    Source:
        diagnosis.candidates.
    """
    station = _station(context)
    if station:
        return station
    observations = [_observation(context, setting) for setting, item in context.gathered.items() if item.final]
    notes = [event.text for event in context.events]
    return tuple(candidates(observations, code_control=context.device.firmware.code, notes=notes))


def _station(context: Context) -> tuple[Candidate, ...]:
    test = "a meter at the device's input shows what the source really puts out"
    faults: Sequence[str] = [event.text for event in context.events if event.kind == STATION_FAULT]
    return tuple(
        Candidate(fault=text.split(":", 1)[0], why=text.split(":", 1)[-1].strip(), test=test) for text in faults
    )


def _observation(context: Context, setting: Setting) -> Observation:
    prediction, seen = context.gathered[setting].prediction, context.evidence[setting]
    return Observation(
        setting=setting,
        controls=dict(prediction.state.controls),
        relays=seen.relays,
        residual_percent=context.gathered[setting].residual_percent(),
        expected_word=prediction.state.word.value,
        captured_word=seen.word,
        capture_sound=seen.sound,
        realness=context.found[setting].realness,
        declared_ratio=prediction.state.arithmetic_ratio,
    )
