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
    head = f"{'setting':<20} {'way':<4} {'word':<14} {'gain dB':>8} {'codes/V':>11} {'drive Vpk':>10} {'fill':>5}  relays"
    result(head)
    for row in rows:
        result(
            f"{row.label:<20} {row.direction:<4} {row.word:<14} {row.gain_db:>8.3f} {row.gain_codes_per_v:>11.5g}"
            f" {row.drive_vpk:>10.4g} {row.fill_ratio:>5.2f}  {' '.join(row.relays)}"
        )
    toggles = ", ".join(f"{relay} {count}" for relay, count in summary.relay_toggles) or "none"
    result(f"\n{summary.settings} settings, {summary.readings} readings, at least {summary.duration_s:.1f} s")
    result(f"relay toggles: {toggles}")
    if summary.codes:
        result(f"codes {summary.codes[0]} to {summary.codes[-1]}, {len(summary.codes)} different ones")
    if summary.largest_fine_step_db is not None:
        result(f"largest fine step {summary.largest_fine_step_db:.3f} dB")
    return 0
