"""What the first screen says."""

from __future__ import annotations

from dataclasses import dataclass

from harness.report import words
from harness.report.arithmetic import arithmetic_lines
from harness.values import Candidate, Outcome, RunHeader, RunResult, SettingResult

MOST_CANDIDATES = 3
"""On the first screen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    """The first screen, in words."""

    verdict: Outcome
    sentence: str
    facts: tuple[tuple[str, str], ...]
    """Term and value."""
    tested: int
    planned: int
    counts: tuple[tuple[Outcome, int], ...]
    failing_steps: int
    steps: int
    worst: SettingResult | None
    worst_residual: str
    worst_gains: str
    """Measured and predicted, since a residual of hundreds of percent says little."""
    allowed: str
    """Limits on the residual."""
    guard: str
    arithmetic: tuple[str, ...]
    candidates: tuple[Candidate, ...]
    notes: tuple[str, ...]


def overview(header: RunHeader, result: RunResult) -> Overview:
    """What the first screen says.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        its words and numbers.
    """
    worst = worst_setting(result)
    return Overview(
        verdict=result.verdict,
        sentence=_sentence(result),
        facts=_facts(header, result),
        tested=tested(result),
        planned=len(result.settings),
        counts=tuple((outcome, dict(result.counts).get(outcome, 0)) for outcome in Outcome),
        failing_steps=_steps_with(result, Outcome.FAIL),
        steps=len(result.steps),
        worst=worst,
        worst_residual=words.percent(worst.residual_percent if worst else None),
        worst_gains=_gains(worst) if worst else "",
        allowed=words.limits(*result.gain_limit_percent, unit="percent"),
        guard=f"{result.gain_guard_percent:g} %",
        arithmetic=arithmetic_lines(result),
        candidates=result.candidates[:MOST_CANDIDATES],
        notes=_notes(header, result),
    )


def tested(result: RunResult) -> int:
    """How many settings were tried at least once.

    Args:
        result: of a run.
    Returns:
        their number.
    """
    return sum(row.attempts > 0 for row in result.settings)


def worst_setting(result: RunResult) -> SettingResult | None:
    """Which setting is furthest from the law.

    Args:
        result: of a run.
    Returns:
        the row with the largest residual of either sign, the first of equals; None when no residual is known.
    """
    measured = [row for row in result.settings if row.residual_percent is not None]
    return max(measured, key=lambda row: abs(row.residual_percent or 0.0), default=None)


def _gains(row: SettingResult) -> str:
    measured, predicted = words.significant(row.measured_codes_per_v), words.significant(row.predicted_codes_per_v)
    return f"{measured} measured, {predicted} predicted, codes/V"


def _sentence(result: RunResult) -> str:
    if not result.settings:
        return "No setting was run: nothing is known about the unit."
    match result.verdict:
        case Outcome.PASS if result.complete:
            return f"All {words.count(len(result.settings), 'setting')} meet every claim."
        case Outcome.PASS:
            return "What was read meets every claim."
        case Outcome.FAIL:
            told, several = _how_many(result, Outcome.FAIL)
            return f"{told or 'A claim of the run'} {'fail' if several else 'fails'}."
        case Outcome.INVALID:
            told, _ = _how_many(result, Outcome.INVALID)
            return f"No opinion about the unit: {told or 'the whole run'} could not be measured soundly."
        case _:
            told, several = _how_many(result, Outcome.INCONCLUSIVE)
            verb = "are" if several else "is"
            return f"{told or 'A claim of the run'} {verb} not decided: too near a limit, or unproven."


def _how_many(result: RunResult, outcome: Outcome) -> tuple[str, bool]:
    """Settings and steps of an outcome in words, and whether they are several."""
    settings, steps = dict(result.counts).get(outcome, 0), _steps_with(result, outcome)
    parts = [words.count(number, noun) for number, noun in ((settings, "setting"), (steps, "step")) if number]
    return " and ".join(parts), settings + steps > 1


def _steps_with(result: RunResult, outcome: Outcome) -> int:
    return sum(step.outcome is outcome for step in result.steps)


def _facts(header: RunHeader, result: RunResult) -> tuple[tuple[str, str], ...]:
    device = dict(header.identities).get("device")
    bench = header.mode if header.seed is None else f"{header.mode}, seed {header.seed}"
    attempts = sum(row.attempts for row in result.settings)
    return (
        ("Unit", header.unit),
        ("Device", f"{device.manufacturer} {device.model}" if device else words.NOTHING),
        ("Date", words.moment(header.started_utc)),
        ("Operator", header.operator or words.NOTHING),
        ("Bench", bench),
        ("Readings", f"{attempts} made, {header.planned} planned"),
        ("Run", header.run_id),
    )


def _notes(header: RunHeader, result: RunResult) -> tuple[str, ...]:
    notes = list(result.notes)
    if header.faults:
        notes.append(f"Faults were injected into the simulated bench: {', '.join(header.faults)}.")
    return tuple(notes)
