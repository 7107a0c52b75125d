"""`gainladder preview`: the ladder of a job, without opening anything."""

from __future__ import annotations

import click

from harness.app.options import json_option


@click.command()
@click.argument("job", metavar="JOB")
@json_option
def command(job: str, as_json: bool) -> int:
    """Show the ladder of JOB: settings, words, predicted gain, drive, fill, time, relay toggles. Opens nothing."""
    import dataclasses

    from harness.app.output import result, result_json
    from harness.app.setup import read_setup
    from harness.ladder import preview_rows, preview_summary

    setup = read_setup(job)
    rows = preview_rows(setup.rungs, setup.law)
    summary = preview_summary(setup.rungs, setup.law, setup.device)
    if as_json:
        content = {"summary": dataclasses.asdict(summary), "rungs": [dataclasses.asdict(row) for row in rows]}
        result_json(content)
        return 0
    result(f"{'setting':<20} {'word':<14} {'gain dB':>9} {'codes/V':>12} {'drive Vpk':>11} {'fill':>6} {'toggles':>7}")
    for row in rows:
        result(
            f"{row.label:<20} {row.word:<14} {row.gain_db:>9.3f} {row.gain_codes_per_v:>12.5g} {row.drive_vpk:>11.4g}"
            f" {row.fill_ratio:>6.2f} {row.relay_toggles:>7d}"
        )
    for field in dataclasses.fields(summary):
        result(f"{field.name.replace('_', ' ')}: {getattr(summary, field.name)}")
    return 0
