"""The page of two runs: what has changed from the earlier to the later one."""

from __future__ import annotations

from dataclasses import dataclass

from harness.report import words
from harness.report.figures.population import Mark, population_svg
from harness.report.finite import require_finite
from harness.report.template import render
from harness.values import ConfigFile, Outcome, RunComparison, RunHeader, RunResult, SettingChange

MOST_ROWS = 200
MOVED, STILL = "#a3341f", "#2f5d8a"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeLine:
    """One setting as text."""

    label: str
    earlier: Outcome
    later: Outcome
    earlier_residual: str
    later_residual: str
    change: str
    uncertainty: str
    moved: bool


def against_html(
    later: tuple[RunHeader, RunResult], earlier: tuple[RunHeader, RunResult], comparison: RunComparison
) -> str:
    """The page of two runs.

    Args:
        later: header and result of the run that is looked at.
        earlier: of the run that it is held against.
        comparison: of both.
    Returns:
        an HTML document; the same bytes for the same arguments.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    (header, result), (old_header, old_result) = later, earlier
    for one in (result, old_result):
        require_finite(one)
    worth = [one for one in comparison.changes if one.later is not one.earlier or one.moved]
    worth.sort(key=_gravest)
    marks = [
        (one.setting, one.change_percent, MOVED if one.moved else STILL, "cross" if one.moved else "dot")
        for one in comparison.changes
        if one.change_percent is not None
    ]
    return render(
        "against.html",
        {
            "header": header,
            "old_header": old_header,
            "result": result,
            "old_result": old_result,
            "heads": [
                ("Unit", header.unit),
                ("Later", f"{words.moment(header.started_utc)}, run {header.run_id}"),
                ("Earlier", f"{words.moment(old_header.started_utc)}, run {old_header.run_id}, unit {old_header.unit}"),
            ],
            "facts": _facts(header, result, old_header, old_result),
            "comparison": comparison,
            "flipped": sum(one.later is not one.earlier for one in comparison.changes),
            "moved": sum(one.moved for one in comparison.changes),
            "figure": _figure(marks, result),
            "lines": [_line(one) for one in worth[:MOST_ROWS]],
            "left": max(len(worth) - MOST_ROWS, 0),
        },
    )


def _gravest(one: SettingChange) -> tuple[bool, int, float]:
    """What came out otherwise first, then the gravest outcome, then the largest change."""
    return one.later is one.earlier, words.SEVERITY.index(one.later), -abs(one.change_percent or 0.0)


def _figure(marks: list[Mark], result: RunResult) -> str:
    label = "Change of the gain of every setting from the earlier run to the later one, one panel a channel"
    return population_svg(marks, result, limits=result.gain_limit_percent, label=label, name="change", lined=False)


def _line(one: SettingChange) -> ChangeLine:
    return ChangeLine(
        label=one.label,
        earlier=one.earlier,
        later=one.later,
        earlier_residual=words.percent(one.earlier_percent, digits=3),
        later_residual=words.percent(one.later_percent, digits=3),
        change=words.percent(one.change_percent, digits=3),
        uncertainty=words.percent(one.expanded_percent, digits=3, signed=False),
        moved=one.moved,
    )


def _facts(
    header: RunHeader, result: RunResult, old_header: RunHeader, old_result: RunResult
) -> list[tuple[str, str, str, bool]]:
    """Term, earlier, later, and whether they differ."""
    rows = [
        ("verdict", str(old_result.verdict), str(result.verdict)),
        ("unit", old_header.unit, header.unit),
        ("begun", words.moment(old_header.started_utc), words.moment(header.started_utc)),
        ("run", old_header.run_id, header.run_id),
        ("operator", old_header.operator, header.operator),
        ("bench", _bench(old_header), _bench(header)),
        ("software", old_header.software, header.software),
        *(
            (str(outcome), str(dict(old_result.counts).get(outcome, 0)), str(dict(result.counts).get(outcome, 0)))
            for outcome in Outcome
        ),
    ]
    roles = dict.fromkeys([role for role, _ in header.identities] + [role for role, _ in old_header.identities])
    old_who, who = dict(old_header.identities), dict(header.identities)
    rows += [(role, str(old_who.get(role, words.NOTHING)), str(who.get(role, words.NOTHING))) for role in roles]
    old_files, files = ({file.role: file for file in one.files} for one in (old_header, header))
    rows += [(role, _file(old_files.get(role)), _file(files.get(role))) for role in {**files, **old_files}]
    return [(term, old, new, old != new) for term, old, new in rows]


def _bench(header: RunHeader) -> str:
    return header.mode if header.seed is None else f"{header.mode}, seed {header.seed}"


def _file(file: ConfigFile | None) -> str:
    return words.NOTHING if file is None else f"{file.path}, version {file.version}, {file.sha256[:12]}"
