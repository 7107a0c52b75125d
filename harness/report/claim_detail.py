"""What stands inside the row of one claim in a test report: figure and table; and what stands above all rows."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence

from harness.report import words
from harness.report.claim_line import ReportLine, place_of
from harness.report.figures.strip import StripPoint, strip_svg
from harness.report.labels import fine_name, range_name
from harness.values import Judgement, RunHeader, RunResult, Setting

MOST_ROWS = 60
"""Of one claim's table; the gravest come first, the rest are counted."""

STYLE = (
    "<style>.gainladder{border-collapse:collapse;margin:.4em 0;font-variant-numeric:tabular-nums;color:#22282c}"
    ".gainladder caption{text-align:left;font-weight:bold;padding:.2em 0}"
    ".gainladder th,.gainladder td{border:0;border-bottom:1px solid #ccc;padding:.1em .8em .1em 0;text-align:left}"
    ".gainladder .n{text-align:right;white-space:nowrap}</style>"
)

COLUMNS = ("outcome", "measured", "limit", "margin")
"""Names of the columns that a row of claims adds."""


def detail_html(decided: Sequence[Judgement], result: RunResult, *, labels: Mapping[Setting, str], name: str) -> str:
    """The figure and the table of one claim.

    Args:
        decided: its judgements.
        result: of the run.
        labels: from `labels_of`.
        name: of the claim.
    Returns:
        a piece of HTML without names, scripts or anything from outside; empty when nothing was decided.
    """
    if not decided:
        return ""
    numbered = [one for one in decided if one.measured is not None and one.setting is not None]
    unit = words.sign(decided[0].unit)
    figure = strip_svg(
        [
            StripPoint(
                label=place_of(one, result, labels),
                short=_short(one, result),
                value=one.measured or 0.0,
                low=one.low,
                high=one.high,
                guard=one.guard,
                outcome=one.outcome,
                half=one.expanded,
            )
            for one in sorted(numbered, key=_order)
        ],
        unit=unit,
        label=f"{name}: measured against limits",
    )
    return f'<div class="gainladder-detail">{figure}{_table(decided, result, labels, name)}</div>'


def line_cells(line: ReportLine) -> tuple[str, ...]:
    """The cells that a row of claims adds, in the order of `COLUMNS`.

    Args:
        line: of the claim.
    Returns:
        texts.
    """
    return (str(line.outcome), line.measured or words.NOTHING, line.limit or words.NOTHING, line.margin)


def run_html(header: RunHeader, result: RunResult, facts: Sequence[tuple[str, str]]) -> str:
    """What stands above all rows: verdict, unit, seed, files with their hashes.

    Args:
        header: of the run.
        result: of the run.
        facts: further terms and values.
    Returns:
        a piece of HTML with a style of its own.
    """
    shown = [
        ("verdict", str(result.verdict)),
        ("unit", header.unit),
        ("run", header.run_id),
        ("begun", words.moment(header.started_utc)),
        ("bench", header.mode if header.seed is None else f"{header.mode}, seed {header.seed}"),
        *((role, str(identity)) for role, identity in header.identities),
        *((file.role, f"{file.path}, version {file.version}, SHA-256 {file.sha256}") for file in header.files),
        *facts,
    ]
    rows = "".join(f'<tr><th scope="row">{_escaped(term)}</th><td>{_escaped(value)}</td></tr>' for term, value in shown)
    return f'{STYLE}<table class="gainladder"><caption>gainladder: what was run</caption>{rows}</table>'


def _table(decided: Sequence[Judgement], result: RunResult, labels: Mapping[Setting, str], name: str) -> str:
    ordered = sorted(decided, key=lambda one: (words.SEVERITY.index(one.outcome), _order(one)))
    heads = ("where", "outcome", "measured", "U", "limit", "margin", "reason")
    head = "".join(f'<th scope="col">{text}</th>' for text in heads)
    rows = []
    for one in ordered[:MOST_ROWS]:
        where = place_of(one, result, labels) or "run"
        numbers = (
            words.quantity(one.measured, one.unit, signed=True),
            words.quantity(one.expanded, one.unit),
            words.limits(one.low, one.high, unit=one.unit) or words.NOTHING,
            words.quantity(one.margin, one.unit, signed=True),
        )
        cells = "".join(f'<td class="n">{_escaped(text)}</td>' for text in numbers)
        reason = _escaped(words.told(one.reason.removeprefix(f"{where}: ")))
        rows.append(f'<tr><th scope="row">{_escaped(where)}</th><td>{one.outcome}</td>{cells}<td>{reason}</td></tr>')
    left = len(ordered) - MOST_ROWS
    more = f"<p>{left} more are in the unit's report.</p>" if left > 0 else ""
    body = f"<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody>"
    return f'<table class="gainladder"><caption>{_escaped(name)}</caption>{body}</table>{more}'


def _order(one: Judgement) -> tuple[Setting, Setting]:
    at = one.setting or Setting(0, 0, 0)
    return at, one.other or at


def _short(one: Judgement, result: RunResult) -> str:
    at = one.setting or Setting(0, 0, 0)
    same_fine = one.other is not None and one.other.coarse != at.coarse
    name = fine_name(at.fine, result)
    return f"{range_name(at.coarse, result)} {name}" if same_fine else name


def _escaped(text: str) -> str:
    return html.escape(words.plain(text))
