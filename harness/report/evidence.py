"""What words and waveform each say of a setting: the table of evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.report.labels import labels_of
from harness.values import Realness, RealnessEvidence, RunResult, WaveformFinding

TESTS = ("W1", "W2", "W2'", "W3", "W4", "W5", "W6", "W7")
MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveformCell:
    """One waveform test of one setting as text."""

    text: str
    """What it says with its log-likelihood ratio, or that its precondition is not met."""
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceLine:
    """One setting as text."""

    label: str
    words: str
    waveform: str
    tests: tuple[WaveformCell, ...]
    """In the order of the table's columns."""
    power: str
    confidence: str
    both: str
    contradiction: bool
    worth: bool
    """A look: words and waveform do not say the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceTable:
    """All settings with evidence."""

    columns: tuple[str, ...]
    """Names of the tests that were made."""
    left_out: tuple[str, ...]
    """Tests that no setting's records fit, all for one reason, such as `W4: the job asks for no such readings`."""
    lines: tuple[EvidenceLine, ...]
    contradictions: int
    alike: int
    """Settings left out of `lines`, of a long run: words and waveform say the same of them, or only one speaks."""

    @property
    def plain(self) -> int:
        """Lines that are left out on paper."""
        return sum(not line.worth for line in self.lines)


MOST_LINES = 2_000
"""A longer run shows only where words and waveform do not say the same, and of these so many."""


def evidence_table(result: RunResult) -> EvidenceTable:
    """What words and waveform each say of every setting.

    Args:
        result: of a run.
    Returns:
        one line a setting that was tried and has evidence, in the order of the run; of a long run only those worth a
        look.
    """
    labels = labels_of(result)
    known = [(row, row.evidence) for row in result.settings if row.evidence is not None and row.attempts]
    reasons: dict[str, set[str]] = {}
    for _, evidence in known:
        for test in evidence.tests:
            reasons.setdefault(test.name, set()).add("" if test.met else test.why)
    idle = {name: why for name, told in reasons.items() if len(told) == 1 and (why := next(iter(told)))}
    columns = tuple(name for name in TESTS if name in reasons and name not in idle)
    shown = known if len(known) <= MOST_LINES else [pair for pair in known if _worth(pair[1])][:MOST_LINES]
    lines = tuple(_line(labels[row.setting], evidence, columns) for row, evidence in shown)
    left_out = tuple(f"{name}: {idle[name]}" for name in TESTS if name in idle)
    return EvidenceTable(
        columns=columns,
        left_out=left_out,
        lines=lines,
        contradictions=sum(evidence.contradiction for _, evidence in known),
        alike=len(known) - len(lines),
    )


def _worth(evidence: RealnessEvidence) -> bool:
    silent = Realness.UNPROVEN in (evidence.words, evidence.waveform)
    return evidence.contradiction or not (silent or evidence.words is evidence.waveform is evidence.both)


def _line(label: str, evidence: RealnessEvidence, columns: Sequence[str]) -> EvidenceLine:
    return EvidenceLine(
        label=label,
        words=str(evidence.words),
        waveform=str(evidence.waveform),
        tests=tuple(_cell(strongest(evidence.tests, name)) for name in columns),
        power="" if evidence.power_m is None else f"{evidence.power_m:.4g}",
        confidence=f"{evidence.confidence:.3f}",
        both=str(evidence.both),
        contradiction=evidence.contradiction,
        worth=_worth(evidence),
    )


def strongest(tests: Sequence[WaveformFinding], name: str) -> WaveformFinding | None:
    """The test of a name that says most.

    Args:
        tests: of one setting, against one or more references.
        name: W1 to W7.
    Returns:
        the one whose precondition is met and whose log-likelihood ratio is farthest from 0; None without any.
    """
    mine = [test for test in tests if test.name == name]
    return max(mine, key=lambda test: (test.met, abs(test.llr)), default=None)


def strongest_tests(tests: Sequence[WaveformFinding]) -> tuple[WaveformFinding, ...]:
    """The test of each name that says most.

    Args:
        tests: of one setting.
    Returns:
        at most one of each name, in order of the names.
    """
    found = (strongest(tests, name) for name in TESTS)
    return tuple(test for test in found if test is not None)


def tests_text(tests: Sequence[WaveformFinding]) -> str:
    """The tests of a setting in one field.

    Args:
        tests: of one setting.
    Returns:
        such as `W1 hardware +7.0; W3 not met`; the strongest of each name.
    """
    return "; ".join(f"{test.name} {_said(test)}" for test in strongest_tests(tests))


def _cell(test: WaveformFinding | None) -> WaveformCell:
    if test is None:
        return WaveformCell(text="", why="")
    return WaveformCell(text=_said(test).replace("-", MINUS), why=f"{test.against}: {test.why}")


def _said(test: WaveformFinding) -> str:
    if not test.met:
        return "not met"
    return f"{'cannot tell' if test.says == 'cannot-tell' else test.says} {test.llr:+.1f}"
