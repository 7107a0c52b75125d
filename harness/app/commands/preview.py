"""`gainladder preview`: the ladder of a job and what the design covers, without opening anything."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.app.options import json_option

if TYPE_CHECKING:
    from harness.app.night_preview import NightPreview


@click.command()
@click.argument("job", metavar="JOB")
@click.option("--csv", "csv_path", default="", metavar="FILE", help="Write the coverage map as CSV: one row a setting.")
@click.option("--figure", "figure_path", default="", metavar="FILE.svg", help="Draw the coverage map.")
@json_option
def command(job: str, csv_path: str, figure_path: str, as_json: bool) -> int:
    """Show the ladder of JOB: settings, words, predicted gain, drive, fill, time, relay toggles. Opens nothing.

    Then what the design covers, visited or not: range by range, overlaps and gaps, largest steps, converter fill, bits
    used, tolerances, and settings that the source cannot reach.
    """
    import dataclasses

    from harness import report
    from harness.app.ladder_words import previewed
    from harness.app.night_preview import night_text
    from harness.app.output import result_json, say, write_file
    from harness.app.preview_text import coverage_text, frequency_text, ladder_text
    from harness.app.setup import extras_of, read_setup
    from harness.errors import ConfigError
    from harness.ladder import build, coverage, drive_of, preview_rows, preview_summary

    setup = read_setup(job, ladder=False)
    least_vpk, most_vpk = setup.bench.source_range
    drive = drive_of(
        setup.device, setup.bench.file,
        span_codes=setup.law.span_codes, source_min_vpk=least_vpk, source_max_vpk=most_vpk,
    )  # fmt: skip
    covered = coverage(setup.law, drive, setup.job.ladder)
    if csv_path:
        write_file(Path(csv_path), report.coverage_csv(covered))
        say(f"wrote {csv_path}")
    if figure_path:
        title = f"{setup.device.name} on {setup.bench.file.name}: what its settings cover"
        write_file(Path(figure_path), report.coverage_svg(covered, title=title))
        say(f"wrote {figure_path}")
    # A ladder that cannot be walked is an error, but what the design covers is the way to mend it: so that comes first.
    trouble: ConfigError | None = None
    try:
        rungs = build(
            setup.law, setup.device, setup.bench.file, setup.job.ladder, file=job, named=setup.short,
            source_min_vpk=least_vpk, source_max_vpk=most_vpk, named_by=setup.job.ladder.file,
        )  # fmt: skip
        rungs = (*rungs, *extras_of(setup.job, setup.device, setup.bench, setup.law, rungs, file=job))
    except ConfigError as error:
        rungs, trouble = (), error
    if as_json and trouble is None:
        rows = preview_rows(rungs, setup.law)
        summary = preview_summary(rungs, setup.law, setup.device)
        content = {"summary": dataclasses.asdict(summary), "rungs": [dataclasses.asdict(row) for row in rows]}
        night = _night(job)
        more = {} if night is None else {"night": dataclasses.asdict(night)}
        result_json({**content, **more, "coverage": dataclasses.asdict(covered)})
    elif not as_json:
        if trouble is None:
            previewed(setup, rungs)
            ladder_text(preview_rows(rungs, setup.law), preview_summary(rungs, setup.law, setup.device))
            frequency_text(setup.device.acquisition)
            night = _night(job)
            if night is not None:
                night_text(night)
        coverage_text(covered)
    if trouble is not None:
        raise trouble
    return 0


def _night(job: str) -> NightPreview | None:
    """What the job's night will be; None for one sweep by itself."""
    import functools

    from harness.app.night_preview import night_preview
    from harness.app.setup import read_setup

    setup_of_cycle = functools.cache(lambda cycle: read_setup(job, cycle=cycle))
    setup = setup_of_cycle(0)
    night = setup.job.night
    if night is None:
        return None
    differ = setup.job.ladder.order != "sorted"
    return night_preview(night, lambda cycle: setup_of_cycle(cycle * differ), units=len(night.units) or 1)
