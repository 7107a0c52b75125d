"""One claim as a line of a test report: item, measured, U, limit, margin, reason, likely cause."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from harness.report import words
from harness.report.labels import WHOLE_CHANNEL, label_of
from harness.values import Candidate, Judgement, Outcome, RunResult, Setting

MOST_REASONS = 3
"""Reasons shown for one claim; the unit's page has them all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportLine:
    """What one claim came to, in words."""

    outcome: Outcome
    item: str
    place: str
    """Where the worst of it was found; empty for the run."""
    measured: str
    uncertainty: str
    limit: str
    margin: str
    margin_number: float | None
    """In the unit of the claim, to sort by."""
    reasons: tuple[str, ...]
    more: int
    """Reasons left out."""
    cause: str = ""
    """The likeliest cause; empty where nothing is to be explained."""

    def because(self, reasons: Sequence[str]) -> ReportLine:
        """The same with other reasons, all of them shown.

        Args:
            reasons: in words.
        Returns:
            the line.
        """
        return replace(self, reasons=tuple(reasons), more=0)

    def silent(self) -> ReportLine:
        """The same for a claim that says something only where something is wrong.

        Returns:
            a PASS without reasons.
        """
        return replace(self, outcome=Outcome.PASS, reasons=(), more=0)

    def caused_by(self, candidates: Sequence[Candidate]) -> ReportLine:
        """The same with its likeliest cause.

        Args:
            candidates: the likeliest first; may be empty.
        Returns:
            the line.
        """
        return replace(self, cause=f"{candidates[0].fault}: {candidates[0].why}") if candidates else self

    @property
    def text(self) -> str:
        """The line."""
        numbers = (
            ("measured", self.measured), ("U", self.uncertainty), ("limit", self.limit), ("margin", self.margin),
        )  # fmt: skip
        told = ", ".join(f"{name} {value}" for name, value in numbers if value not in ("", words.NOTHING))
        more = (f"{self.more} more",) if self.more else ()
        cause = (f"likely cause: {self.cause}",) if self.cause else ()
        return "; ".join(part for part in (told, *self.reasons, *more, *cause) if part)


def report_line(
    item: str, decided: Sequence[Judgement], result: RunResult, *, labels: Mapping[Setting, str]
) -> ReportLine:
    """How one claim reads.

    Args:
        item: of the claim.
        decided: its judgements; none when nothing was decided about it.
        result: of the run, for names.
        labels: from `labels_of`.
    Returns:
        the line of the worst judgement, the one with the least margin where several are of one outcome; with the
        reasons of all that came out so. INCONCLUSIVE when nothing was decided.
    """
    outcome = words.worst_of([one.outcome for one in decided]) or Outcome.INCONCLUSIVE
    alike = [one for one in decided if one.outcome is outcome]
    reasons = [words.told(one.reason) for one in alike if one.reason]
    if not decided:
        reasons = ["nothing was decided about it"]
    worst = min(alike, key=lambda one: (one.margin is None, one.margin or 0.0), default=None)
    return ReportLine(
        outcome=outcome,
        item=item,
        place=place_of(worst, result, labels) if worst else "",
        measured=_measured(worst, decided),
        uncertainty=words.quantity(worst.expanded, worst.unit) if worst else "",
        limit=words.limits(worst.low, worst.high, unit=worst.unit) if worst else "",
        margin=words.quantity(worst.margin, worst.unit, signed=True) if worst else "",
        margin_number=worst.margin if worst else None,
        reasons=tuple(reasons[:MOST_REASONS]),
        more=max(len(reasons) - MOST_REASONS, 0),
    )


def _measured(worst: Judgement | None, decided: Sequence[Judgement]) -> str:
    if worst is not None and worst.measured is not None:
        return words.quantity(worst.measured, worst.unit, signed=True)
    met = sum(one.outcome is Outcome.PASS for one in decided)
    return f"{met} of {len(decided)} met" if decided else ""


def place_of(one: Judgement, result: RunResult, labels: Mapping[Setting, str]) -> str:
    """Where a judgement was made.

    Args:
        one: of the run.
        result: of the run.
        labels: from `labels_of`.
    Returns:
        the label of its setting, or both of a step; the channel of what belongs to all of it; empty for the run.
    """
    if one.setting is None:
        return ""
    if one.item in WHOLE_CHANNEL:
        return f"ch{one.setting.channel}"
    upper = label_of(one.setting, labels, result)
    return upper if one.other is None else f"{label_of(one.other, labels, result)} to {upper}"
