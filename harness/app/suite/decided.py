"""What one claim of the suite came to."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Protocol

from harness.app.suite.claim import Range, Reach, SuiteClaim
from harness.app.suite.judged import Part
from harness.report import ReportLine, report_line
from harness.values import Candidate, Judgement, Outcome


class Run(Protocol):
    """A run, live or stored, as the suite asks it."""

    @property
    def ladder(self) -> tuple[Range, ...]:
        """The ranges of the ladder, in its order."""
        ...

    def part(self, ranges: Collection[Range]) -> Part:
        """What is decided about these ranges; a live run sweeps those that it has not swept yet."""
        ...

    def causes(self, channel: int | None) -> Sequence[Candidate]:
        """What may be wrong, the likeliest first, from all that was read of a channel so far, or of all for None."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """One claim, decided."""

    claim: SuiteClaim
    counted: bool
    """False for what too few settings cannot tell, a parameter or codes: shown, and no more counted than on the command
    line."""
    line: ReportLine
    judgements: tuple[Judgement, ...]
    part: Part

    @property
    def outcome(self) -> Outcome:
        """The worst of its judgements; INCONCLUSIVE without any."""
        return self.line.outcome

    @property
    def text(self) -> str:
        """For people: claim, outcome, numbers, reasons."""
        return f"{self.claim.name}: {self.outcome if self.counted else 'not exercised'}: {self.line.text}"


def decide(claim: SuiteClaim, run: Run, wanted: Collection[Range]) -> Decided:
    """Decide one claim; `wanted` are the ranges that the session's claims name.

    Nothing decided is no pass: the readings that it needs are missing, or no words were captured.
    """
    part = run.part(claim.needed(run.ladder, wanted))
    judgements = tuple(part.index.get(claim.place, ()))
    read = [one.outcome is not Outcome.INVALID for one in part.index.get((*claim.place[:2], "measurable"), ())]
    if claim.silent and not judgements and read and all(read):
        line = report_line(claim.item, (), part.result, labels=part.labels).silent()
        return Decided(claim=claim, counted=True, line=line, judgements=(), part=part)
    own = [row for row in part.result.parameters if row.channel == claim.channel]
    few = claim.reach is Reach.CHANNEL and claim.item in part.result.unmeasured
    idle = not judgements and (few or (claim.item == "parameter" and bool(own)))
    line = report_line(claim.item, judgements, part.result, labels=part.labels)
    if line.outcome in (Outcome.FAIL, Outcome.INVALID):
        # One range by itself cannot tell a relay from a load: the cause is sought in all that is known of the channel.
        line = line.caused_by(run.causes(claim.channel))
    if idle:
        line = line.because(["too few settings"] if few else [row.reason for row in own if row.reason])
    return Decided(claim=claim, counted=not idle, line=line, judgements=judgements, part=part)
