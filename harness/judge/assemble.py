"""The result of a run, put together from its context and its judgements."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from harness.config import LimitItem
from harness.judge.claims import ClaimKind, Context, Scope, unmeasured
from harness.judge.explained import explanations
from harness.judge.extra_reading import NOT_READ
from harness.judge.figures import path_figures, setting_figures
from harness.judge.rows import row
from harness.judge.steps import step_row
from harness.judge.verdict import worst_outcome
from harness.values import (
    LIFTED,
    Event,
    Judgement,
    Outcome,
    RunResult,
    Setting,
    SettingResult,
    attempt_of,
    golden_says_of,
)

Made = Sequence[tuple[ClaimKind, Judgement]]
Place = tuple[Setting, Setting | None]


def assemble(context: Context, made: Made) -> RunResult:
    """The result of a run.

    Args:
        context: the run.
        made: judgements with their kind, in order of the registry.
    Returns:
        verdict, rows, and judgements: the station's first, then those of each setting, of each step, and all others. A
        station at fault makes the run INVALID: nothing is said about the unit.
    Source:
        none: a record.
    """
    at = _by_place(made)
    rows = _rows(context, at)
    steps = tuple(step_row(step, at.get((step.upper.setting, step.lower.setting), ())) for step in context.steps)
    station = tuple(claim for kind, claim in made if kind.scope is Scope.RUN)
    places = (
        *((setting, None) for setting in context.gathered),
        *((step.upper.setting, step.lower.setting) for step in context.steps),
    )
    placed = tuple(claim for place in places for claim in at.get(place, ()))
    shown = {id(claim) for claim in (*station, *placed)}
    judgements = (*station, *placed, *(claim for _, claim in made if id(claim) not in shown))
    faulty = any(claim.item == "station" for claim in station)
    complete = all(len(item.final) >= item.planned for item in context.gathered.values())
    complete = complete and all(extra.reason != NOT_READ for extra in context.extras)
    diagnosis, not_exercised = explanations(context, judgements)
    gain, step = context.limits.get("gain"), context.limits.get("fine-step")
    device = context.device
    return RunResult(
        verdict=Outcome.INVALID if faulty else worst_outcome([claim.outcome for claim in judgements]),
        complete=complete,
        counts=tuple((outcome, sum(r.outcome is outcome for r in rows)) for outcome in Outcome),
        settings=rows,
        steps=steps,
        judgements=judgements,
        candidates=diagnosis.candidates,
        worst=_worst(rows),
        gain_limit_percent=_edges(gain),
        gain_guard_percent=max((c.guard for c in judgements if c.item == "gain"), default=gain.guard if gain else 0.0),
        step_limit_percent=_edges(step),
        channel_count=device.channels,
        coarse_names=tuple(coarse.name for coarse in device.coarse),
        fine_names=device.fine.names(),
        declared_arithmetic=tuple(
            index for index, coarse in enumerate(device.coarse) if coarse.arithmetic_ratio != 1.0
        ),
        notes=(*_notes(context, complete), *_weak(judgements), *_unmeasured(context)),
        parameters=tuple(context.parameters),
        budgets=tuple(context.budgets),
        flags=tuple(context.flags),
        paths=path_figures(
            context.gathered.values(), relays_of=lambda item: context.evidence[item.prediction.setting].relays
        ),
        bus=tuple(context.bus),
        none_of_these=diagnosis.none_of_these,
        not_exercised=not_exercised,
        unmeasured=unmeasured(context),
    )


_PLACED = (Scope.SETTING, Scope.STEP)


def _by_place(made: Made) -> dict[Place, list[Judgement]]:
    """The judgements that count in the row of a setting or step."""
    at: dict[Place, list[Judgement]] = {}
    for kind, claim in made:
        if kind.scope in _PLACED and claim.setting is not None:
            at.setdefault((claim.setting, claim.other), []).append(claim)
    return at


def _rows(context: Context, at: Mapping[Place, Sequence[Judgement]]) -> tuple[SettingResult, ...]:
    rows = []
    for setting, item in context.gathered.items():
        claims = at.get((setting, None), ())
        known = context.uncertainty
        gain = next((claim for claim in claims if claim.item == "gain"), None)
        rows.append(
            replace(
                row(item, claims, context.found[setting], context.fitted_percent.get(setting)),
                evidence=context.grounds.get(setting),
                figures=setting_figures(item, span_code=2.0**context.device.converter.bits),
                expanded_percent=known.gain_expanded_percent(setting) if known else None,
                own_percent=context.fitted_expanded_percent.get(
                    setting, known.own_expanded_percent(setting) if known else None
                ),
                tur_ratio=gain.tur_ratio if gain else None,
                gain_conformance_ratio=gain.conformance_ratio if gain else None,
                gain_consumer_risk_ratio=gain.consumer_risk_ratio if gain else None,
                gain_producer_risk_ratio=gain.producer_risk_ratio if gain else None,
            )
        )
    return tuple(rows)


def _notes(context: Context, complete: bool) -> tuple[str, ...]:
    notes: list[str] = list(_told(context.events))
    if not complete:
        notes.append("The run is incomplete: settings with readings missing count as INVALID.")
    if not context.captured:
        notes.append("No control words were captured: realness is decided by the waveform alone.")
    # A parameter outside its limit may leave every setting inside: the first screen must say it.
    moved = [event.text for event in context.events if event.kind == "discontinuity"]
    if moved:
        more = f"; {len(moved) - 1} more in the journal" if moved[1:] else ""
        notes.append(f"The run was resumed, and readings before and after do not belong together: {moved[0]}{more}")
    against = [item for item in context.grounds.values() if item.contradiction]
    if against:
        places = f"{len(against)} of {len(context.grounds)} settings"
        notes.append(f"Words and waveform contradict at {places}: see the evidence.")
    return (*notes, *(row.reason for row in context.parameters if row.reason))


def _told(events: Sequence[Event]) -> Iterator[str]:
    """What is known of the unit and the station before the run, and from a golden unit."""
    attempt, said = attempt_of(events), golden_says_of(events)
    if said is not None:
        yield f"A golden unit tells station from unit: {said[1]}."
    if attempt is not None and attempt.failed_before:
        yield (
            f"Attempt {attempt.number} of {attempt.most} without a repair, and one before it did not pass: a pass is a "
            "pass on retest and is counted apart."
        )
    if attempt is not None and attempt.repaired:
        yield f"The unit was repaired before this run: {attempt.repaired}."
    yield from (f"A lock was lifted for this run: {event.text}." for event in events if event.kind == LIFTED)


def _unmeasured(context: Context) -> tuple[str, ...]:
    left_out = unmeasured(context)
    return (f"Not measured by this job, so nothing is said about: {', '.join(left_out)}.",) if left_out else ()


def _weak(judgements: Sequence[Judgement]) -> tuple[str, ...]:
    """One note an item whose measurement is weak against its limits, with its weakest decision."""
    weakest: dict[str, Judgement] = {}
    for claim in judgements:
        least = weakest.get(claim.item)
        if claim.warning and (least is None or (claim.tur_ratio or 0.0) < (least.tur_ratio or 0.0)):
            weakest[claim.item] = claim
    counts = {item: sum(claim.item == item and bool(claim.warning) for claim in judgements) for item in weakest}
    return tuple(
        f"{item}: {counts[item]} decisions are weak; the weakest: {claim.warning}." for item, claim in weakest.items()
    )


def _worst(rows: Sequence[SettingResult]) -> tuple[tuple[int, int, float], ...]:
    worst: dict[tuple[int, int], float] = {}
    for item in rows:
        key = (item.setting.channel, item.setting.coarse)
        if item.residual_percent is not None and abs(item.residual_percent) >= abs(worst.get(key, 0.0)):
            worst[key] = item.residual_percent
    return tuple((channel, coarse, value) for (channel, coarse), value in worst.items())


def _edges(limit: LimitItem | None) -> tuple[float | None, float | None]:
    return (limit.low, limit.high) if limit else (None, None)
