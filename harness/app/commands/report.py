"""`gainladder report`: the page or file of a recorded run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.app.options import limits_option, store_option

if TYPE_CHECKING:
    from harness.store import Store

FORMS = ("html", "csv", "json", "junit", "diagnosis", "vcd", "capture-csv")
OF_THE_BUS = ("vcd", "capture-csv")
"""Forms that show what the adapter captured, nothing decided."""


@click.command()
@click.argument("run", metavar="[RUN]", default="")
@click.option("--format", "form", type=click.Choice(FORMS), default="html", show_default=True)
@click.option("--out", default="", metavar="FILE", help="Where to write; default: stdout.")
@click.option("--against", default="", metavar="RUN", help="A page of what has changed since this earlier run.")
@click.option("--lot", is_flag=True, help="A page of all units that RUN's job (default: the last run's) was run on.")
@click.option("--night", is_flag=True, help="The page of the whole night that RUN belongs to.")
@limits_option
@store_option
def command(
    run: str, form: str, out: str, against: str, lot: bool, night: bool, limits_path: str, store_url: str
) -> int:
    """Make the page or file of RUN (id, unique prefix or `last`) from the record. Needs no bench.

    vcd and capture-csv hold the captures of the control bus, as `gainladder decode` and other tools read them.
    """
    from harness.app.output import result, say, write_file
    from harness.errors import UsageError
    from harness.store import open_store

    if lot + bool(against) + night > 1:
        raise UsageError("report: got several of --lot, --against and --night; allowed is one of them")
    if form != "html" and (lot or against or night):
        raise UsageError(f"report: got --format {form}; --lot, --against and --night make pages: leave the format out")
    if not run and not lot:
        raise UsageError(
            "report: got no RUN; allowed: a run id, its unique beginning, or `last` (see `gainladder runs`)"
        )
    if form in OF_THE_BUS:
        from harness.app.bus_export import export_captures

        export_captures(run, form, out=out, store_url=store_url)
        return 0
    with open_store(store_url, read_only=True) as store:
        if lot:
            text = _lot(store, run, limits_path)
        elif night:
            text = _night(store, run)
        elif against:
            text = _against(store, run, against, limits_path)
        else:
            text = _one(store, run, form, limits_path)
    if out:
        write_file(Path(out), text)
        say(f"wrote {out}")
    else:
        result(text.rstrip("\n"))
    return 0


def _one(store: Store, run: str, form: str, limits_path: str) -> str:
    from harness import report
    from harness.app.closer_look import detail_of
    from harness.app.run import judged

    header, decided = judged(store, store.resolve(run), limits_path=limits_path)
    if form == "html":
        return report.html(header, decided, store.events(header.run_id), detail_of(store, header, decided))
    make = {
        "csv": report.csv_text,
        "json": report.json_text,
        "junit": report.junit_text,
        "diagnosis": report.diagnosis_csv,
    }[form]
    return make(header, decided)


def _against(store: Store, run: str, against: str, limits_path: str) -> str:
    from harness import report
    from harness.app.run import judged
    from harness.judge import compare_runs

    later, earlier = (judged(store, store.resolve(one), limits_path=limits_path) for one in (run, against))
    sources = [dict(header.identities).get("source") for header, _ in (later, earlier)]
    comparison = compare_runs(later[1], earlier[1], same_source=sources[0] == sources[1])
    return report.against_html(later, earlier, comparison)


def _lot(store: Store, like: str, limits_path: str) -> str:
    from harness import report
    from harness.app.lot_runs import lot_runs

    runs, left_out = lot_runs(store, like=like, limits_path=limits_path)
    return report.lot_html(runs, left_out)


def _night(store: Store, run: str) -> str:
    from harness import report
    from harness.app.night_report import judged_night
    from harness.app.version import version
    from harness.errors import UsageError

    place = store.header(store.resolve(run)).night
    if place is None:
        raise UsageError(f"report: run {run} is no part of a night; allowed with --night: a run of one")
    return report.night_html(judged_night(store, place.night_id), software=version())
