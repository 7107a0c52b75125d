"""`sweep --probe`: after the ladder, the readings that tell the remaining candidates apart; named in the journal."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable

from harness.app.setup import Setup, ground_of
from harness.diagnosis import follow_up
from harness.ladder import probe_rungs
from harness.values import Event, Outcome, Purpose, Rung, RunResult

KIND = "probe"
"""Of the journal's line that names the readings; judging again reads it."""


def asked_of(setup: Setup, result: RunResult) -> str:
    """What a result asks for, as the journal keeps it; empty where nothing is left to be told apart."""
    if result.verdict is Outcome.PASS or any(claim.item == "station" for claim in result.judgements):
        return ""
    failing = {c.setting.channel for c in result.judgements if c.outcome is Outcome.FAIL and c.setting is not None}
    doubt = {
        c.setting.channel for c in result.judgements if c.outcome is Outcome.INCONCLUSIVE and c.setting is not None
    }
    known = {rung.purpose for rung in setup.extras}
    purposes = [
        purpose
        for purpose in follow_up(result.candidates, unexplained=bool(result.none_of_these))
        if purpose not in known
    ]
    if not purposes:
        return ""
    return json.dumps({"purposes": [str(p) for p in purposes], "channels": sorted(failing or doubt)})


def _channels(result: RunResult, outcome: Outcome) -> set[int]:
    return {c.setting.channel for c in result.judgements if c.outcome is outcome and c.setting is not None}


def rungs_of(setup: Setup, text: str) -> tuple[Rung, ...]:
    """The readings that a line of the journal names: the same whenever it is read."""
    asked = json.loads(text)
    return probe_rungs(ground_of(setup), setup.device, [Purpose(name) for name in asked["purposes"]], asked["channels"])


def with_probe(setup: Setup, events: Iterable[Event]) -> Setup:
    """The setup with the readings that its run took beyond the job."""
    taken = [rung for event in events if event.kind == KIND for rung in rungs_of(setup, event.text)]
    return dataclasses.replace(setup, extras=(*setup.extras, *taken)) if taken else setup
