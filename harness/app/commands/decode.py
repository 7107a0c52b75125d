"""`gainladder decode`: a capture of the control bus to words, distances between edges, and faults."""

from __future__ import annotations

from pathlib import Path

import click

from harness.app.options import json_option


@click.command()
@click.argument("capture", metavar="CAPTURE")
@click.option(
    "--wiring",
    "wiring_path",
    default="",
    metavar="FILE",
    help="Device file with a [bus] table, or a bare wiring file. Without it line roles are found.",
)
@click.option(
    "--format",
    "form",
    type=click.Choice(("auto", "packed", "csv", "vcd", "block")),
    default="auto",
    show_default=True,
    help="auto goes by the name: .bin .raw .csv .vcd .glc",
)
@click.option("--rate", "rate_hz", type=float, metavar="HZ", help="Samples a second; needed for packed samples.")
@click.option(
    "--labelled",
    multiple=True,
    metavar="CHANNEL:RANK=FILE",
    help="For finding roles: a further capture, the channel moved in it, its place among neighbours.",
)
@click.option("--csv", "csv_path", default="", metavar="FILE", help="All words as CSV.")
@click.option("--figure", "figure_path", default="", metavar="FILE.svg", help="One frame, and setup and hold.")
@json_option
def command(
    capture: str, wiring_path: str, form: str, rate_hz: float | None, labelled: tuple[str, ...], csv_path: str,
    figure_path: str, as_json: bool,
) -> int:  # fmt: skip
    """Decode CAPTURE (packed samples, CSV, VCD or an adapter block): words, timing, faults.

    Exit code 0 when all is sound, 2 when the file cannot be read to its end, 3 when the capture is incomplete or
    marginal; what was decoded is given in each case.
    """
    from harness.app.decode_job import DecodeJob, decode_capture

    job = DecodeJob(
        capture=Path(capture), wiring_path=wiring_path, form=form, rate_hz=rate_hz, labelled=labelled,
        csv_path=Path(csv_path) if csv_path else None, figure_path=Path(figure_path) if figure_path else None,
        as_json=as_json,
    )  # fmt: skip
    return int(decode_capture(job))
