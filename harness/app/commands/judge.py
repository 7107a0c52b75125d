"""`gainladder judge`: decide again from the record."""

from __future__ import annotations

import click

from harness.app.options import json_option, limits_option, store_option


@click.command()
@click.argument("run", metavar="RUN")
@limits_option
@store_option
@json_option
def command(run: str, limits_path: str, store_url: str, as_json: bool) -> int:
    """Decide about RUN (id, unique prefix or `last`) again, with its own limits or others. Needs no bench."""
    from harness import report
    from harness.app.output import result, result_json
    from harness.app.run import judged, verdict_line
    from harness.judge import exit_code
    from harness.store import open_store

    with open_store(store_url, read_only=True) as store:
        header, decided = judged(store, store.resolve(run), limits_path=limits_path)
    if as_json:
        result_json(report.summary(header, decided, report_path=""))
    else:
        result(verdict_line(header, decided))
        for judgement in [j for j in decided.judgements if j.reason][:20]:
            result(f"  {judgement.outcome}  {judgement.reason}")
        for candidate in decided.candidates:
            result(f"  suspect {candidate.fault}: {candidate.why}; to tell: {candidate.test}")
    return int(exit_code(decided.verdict))
