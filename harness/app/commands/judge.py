"""`gainladder judge`: decide again from the record."""

from __future__ import annotations

import click

from harness.app.options import json_option, limits_option, store_option

MOST_LINES = 20
"""A terminal shows the verdict above them and the suspects below them at once."""


@click.command()
@click.argument("run", metavar="[RUN]", default="")
@limits_option
@click.option(
    "--compare",
    "compare_path",
    default="",
    metavar="FILE",
    help="Judge by these limits beside the run's own and print what flips; without RUN over all stored runs.",
)
@click.option("--anew", is_flag=True, help="Measure every record again, also where its numbers were kept.")
@store_option
@json_option
def command(run: str, limits_path: str, compare_path: str, anew: bool, store_url: str, as_json: bool) -> int:
    """Decide about RUN (id, unique prefix or `last`) again, with its own limits or others. Needs no bench."""
    from harness.errors import UsageError

    if compare_path and limits_path:
        raise UsageError("judge: got --limits and --compare; allowed is one of them")
    if compare_path and anew:
        raise UsageError("judge: got --compare and --anew; allowed is one of them")
    if compare_path:
        return _compare(run, compare_path, store_url, as_json)
    if not run:
        raise UsageError(
            "judge: got no RUN; allowed: a run id, its unique beginning, or `last` (see `gainladder runs`)"
        )
    return _judge(run, limits_path, store_url, as_json, anew=anew)


def _judge(run: str, limits_path: str, store_url: str, as_json: bool, *, anew: bool) -> int:
    from harness import report
    from harness.app.output import result, result_json, say
    from harness.app.retention import dropped_lines
    from harness.app.run import judged, verdict_line
    from harness.judge import exit_code
    from harness.store import DROPPED_KIND, open_store

    with open_store(store_url, read_only=True) as store:
        run_id = store.resolve(run)
        header, decided = judged(store, run_id, limits_path=limits_path, anew=anew)
        # Whatever was dropped of a run stands in its journal.
        dropped = any(event.kind == DROPPED_KIND for event in store.events(run_id))
        readings = store.readings(run_id) if dropped else ()
        lost = dropped_lines(readings, {row.setting: row.label for row in decided.settings})
    for line in lost:
        say(line)
    if as_json:
        result_json(report.summary(header, decided, report_path=""))
    else:
        result(verdict_line(header, decided))
        lines = report.failures(decided)
        for line in lines[:MOST_LINES]:
            result(f"  {line}")
        if more := len(lines[MOST_LINES:]):
            result(f"  and {more} lines more; `gainladder report {run_id} --out FILE` shows everything")
        for candidate in decided.candidates:
            told = f"look at: {candidate.look}; to tell: {candidate.test}"
            result(f"  suspect {candidate.fault}: {candidate.why}; {told}")
        if decided.none_of_these:
            result(f"  {decided.none_of_these}")
    return int(exit_code(decided.verdict))


def _compare(run: str, compare_path: str, store_url: str, as_json: bool) -> int:
    """A comparison decides nothing about a unit: 0 whatever flips."""
    from harness.app import compare
    from harness.app.output import result, result_json
    from harness.store import open_store

    with open_store(store_url, read_only=True) as store:
        chosen = [store.resolve(run)] if run else [info.header.run_id for info in store.runs()]
        found = compare.compare(store, chosen, compare_path)
    if as_json:
        result_json(compare.as_json(found))
    else:
        for line in compare.lines_of(found):
            result(line)
    return 0
