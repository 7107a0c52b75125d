"""`gainladder report`: the page or file of a recorded run."""

from __future__ import annotations

from pathlib import Path

import click

from harness.app.options import limits_option, store_option

FORMS = ("html", "csv", "json", "junit", "diagnosis", "vcd", "capture-csv")
OF_THE_BUS = ("vcd", "capture-csv")
"""Forms that show what the adapter captured, nothing decided."""


@click.command()
@click.argument("run", metavar="RUN")
@click.option("--format", "form", type=click.Choice(FORMS), default="html", show_default=True)
@click.option("--out", default="", metavar="FILE", help="Where to write; default: stdout.")
@limits_option
@store_option
def command(run: str, form: str, out: str, limits_path: str, store_url: str) -> int:
    """Make the page or file of RUN (id, unique prefix or `last`) from the record. Needs no bench.

    vcd and capture-csv hold the captures of the control bus, as `gainladder decode` and other tools read them.
    """
    from harness import report
    from harness.app.output import result, say, write_file
    from harness.app.run import judged
    from harness.store import open_store

    if form in OF_THE_BUS:
        from harness.app.bus_export import export_captures

        export_captures(run, form, out=out, store_url=store_url)
        return 0
    with open_store(store_url, read_only=True) as store:
        header, decided = judged(store, store.resolve(run), limits_path=limits_path)
        events = store.events(header.run_id)
    if form == "html":
        text = report.html(header, decided, events)
    else:
        make = {
            "csv": report.csv_text,
            "json": report.json_text,
            "junit": report.junit_text,
            "diagnosis": report.diagnosis_csv,
        }[form]
        text = make(header, decided)
    if out:
        write_file(Path(out), text)
        say(f"wrote {out}")
    else:
        result(text.rstrip("\n"))
    return 0
