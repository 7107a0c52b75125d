"""What the first screen says."""

from __future__ import annotations

from dataclasses import dataclass

from harness.report import words
from harness.report.arithmetic import arithmetic_lines
from harness.report.certificates import certificate_notes, validity
from harness.report.claim_line import place_of
from harness.report.labels import labels_of, parameter_label
from harness.report.parameters import ParameterLine, worst_parameter
from harness.values import Candidate, Outcome, Realness, RunHeader, RunResult, SettingResult

FILES_FIRST = ("job", "device", "limits")
"""Files named on the first screen."""
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
    worst_reason: str
    """Why it did not pass; empty where it did."""
    allowed: str
    """Limits on the residual."""
    guard: str
    uncertainty: str
    """U of the worst setting; empty where no budget was made."""
    tightest: str
    """The claim with the least margin in units of its U; empty where none states one."""
    parameter: ParameterLine | None
    """The fitted parameter that fails the most; None when none fails."""
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
        worst_reason=words.told(worst.reason.removeprefix(f"{worst.label}: ")) if worst else "",
        allowed=words.limits(*result.gain_limit_percent, unit="percent") or "anything, there is no limit",
        guard=f"{result.gain_guard_percent:g} %",
        uncertainty=_uncertainty(worst),
        tightest=_tightest(result),
        parameter=worst_parameter(result),
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
        the row with the largest residual of either sign, the first of equals, among those that fail where any does;
        None when no residual is known.
    """
    measured = [row for row in result.settings if row.residual_percent is not None]
    return max(measured, key=lambda row: (row.outcome is Outcome.FAIL, abs(row.residual_percent or 0.0)), default=None)


def _uncertainty(row: SettingResult | None) -> str:
    known = row is not None and row.expanded_percent is not None
    return words.percent(row.expanded_percent, signed=False) if row and known else ""


def _tightest(result: RunResult) -> str:
    known = [
        (one.margin / one.expanded, one)
        for one in result.judgements
        if one.margin is not None and one.expanded is not None and one.expanded > 0.0
    ]
    if not known:
        return ""
    times, one = min(known, key=lambda pair: pair[0])
    margin = words.quantity(one.margin, one.unit, signed=True)
    where = place_of(one, result, labels_of(result))
    return f"{one.item} {where}: margin {margin}, {words.decimal(times, digits=1, signed=True)} U".replace(" :", ":")


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
        case Outcome.INVALID if any(claim.item == "station" for claim in result.judgements):
            return "The station is at fault: nothing is said about the unit. Mend the station, then run again."
        case Outcome.INVALID:
            told, _ = _how_many(result, Outcome.INVALID)
            return f"No opinion about the unit: {told or 'the whole run'} could not be measured soundly."
        case _:
            told, several = _how_many(result, Outcome.INCONCLUSIVE)
            verb = "are" if several else "is"
            return f"{told or 'A claim of the run'} {verb} not decided: too near a limit, or unproven."


def _how_many(result: RunResult, outcome: Outcome) -> tuple[str, bool]:
    """Settings, steps and fitted parameters of an outcome in words, and whether they are several."""
    numbers = (
        (dict(result.counts).get(outcome, 0), "setting"),
        (_steps_with(result, outcome), "step"),
        (sum(row.outcome is outcome for row in result.parameters), "fitted parameter"),
    )
    parts = [words.count(number, noun) for number, noun in numbers if number]
    return words.listed(parts), sum(number for number, _ in numbers) > 1


def _steps_with(result: RunResult, outcome: Outcome) -> int:
    return sum(step.outcome is outcome for step in result.steps)


def _facts(header: RunHeader, result: RunResult) -> tuple[tuple[str, str], ...]:
    device = dict(header.identities).get("device")
    bench = header.mode if header.seed is None else f"{header.mode}, seed {header.seed}"
    attempts = sum(row.attempts for row in result.settings)
    facts = (
        ("Unit", header.unit),
        ("Device", f"{device.manufacturer} {device.model}" if device else words.NOTHING),
        ("Date", words.moment(header.started_utc)),
        ("Operator", header.operator or words.NOTHING),
        ("Bench", bench),
        ("Readings", f"{attempts} made, {header.planned} planned"),
        ("Run", header.run_id),
        ("Gain is", _realness(result)),
        ("Files", _files(header)),
    )
    metrology = _metrology(result)
    calibrated = validity(header, result)
    more = (("U of gain", metrology), ("Calibrated", calibrated))
    return (*facts, *((term, text) for term, text in more if text))


def _realness(result: RunResult) -> str:
    """How many settings turned out to be what."""
    found = [row.realness for row in result.settings if row.attempts]
    parts = [f"{found.count(kind)} {kind}" for kind in Realness if kind in found]
    return ", ".join(parts) or words.NOTHING


def _files(header: RunHeader) -> str:
    """Job, device and limits with version and the beginning of their hashes."""
    named = [file for file in header.files if file.role in FILES_FIRST]
    return "; ".join(f"{file.role} {file.version}, {file.sha256[:8]}" for file in named) or words.NOTHING


def _metrology(result: RunResult) -> str:
    """Spans of U and TUR over all settings."""
    expanded = [row.expanded_percent for row in result.settings if row.expanded_percent is not None]
    tur = [row.tur_ratio for row in result.settings if row.tur_ratio is not None]
    parts = []
    if expanded:
        low, high = (words.decimal(edge) for edge in (min(expanded), max(expanded)))
        parts.append(f"{words.span(low, high)} %")
    if tur:
        parts.append(f"TUR {words.span(words.ratio(min(tur)), words.ratio(max(tur)))}")
    return ", ".join(parts)


def _notes(header: RunHeader, result: RunResult) -> tuple[str, ...]:
    """What a fitted parameter says is said by its card and its table; here only which ones were not exercised."""
    told = {row.reason for row in result.parameters if row.reason}
    notes = [note for note in result.notes if note not in told]
    idle = [parameter_label(row) for row in result.parameters if row.outcome is None and row.reason]
    if idle:
        notes.append(f"Parameters that this ladder does not exercise: {', '.join(idle)}.")
    if header.faults:
        notes.append(f"Faults were injected into the simulated bench: {', '.join(header.faults)}.")
    return (*certificate_notes(header, result), *notes)
