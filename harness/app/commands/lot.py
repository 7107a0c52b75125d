"""`gainladder lot`: many units at once."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.app.options import day, json_option, limits_option, store_option

if TYPE_CHECKING:
    from harness.judge.lot import OtherLimits
    from harness.lot import Lot
    from harness.store import Store
    from harness.values import RunSummary


@click.command()
@click.option("--job", default="", metavar="NAME", help="Runs of this job file; default: the last run's.")
@click.option("--since", default="", metavar="DATE", help="Runs begun on this day (UTC) or later.")
@click.option("--takt", "takt_s", type=click.FloatRange(min=0.0, min_open=True), metavar="S", help="Seconds a unit.")
@click.option("--parquet", default="", metavar="DIR", help="A folder of `store export --parquet` instead of a store.")
@click.option("--keep", is_flag=True, help="Keep the summaries of runs that have none.")
@click.option("--out", default="", metavar="PAGE.html", help="Write a page too.")
@limits_option
@store_option
@json_option
def command(
    job: str, since: str, takt_s: float | None, parquet: str, keep: bool, limits_path: str, store_url: str,
    as_json: bool, out: str,
) -> int:
    """Yield, reasons, capability, charts and time of all units of a job. Needs no bench.

    Every attempt counts: first pass by the first one, final by the last one. With --limits also what those limits
    would make of the stored units.
    """
    from harness.app.output import result, result_json, say
    from harness.errors import UsageError
    from harness.lot import Asked, analyse, lines_of

    if parquet and keep:
        raise UsageError("lot: got --parquet and --keep; allowed is --keep with a store")
    asked = Asked(
        job=job, since=day(since), limits=_limits(limits_path), limits_path=limits_path, takt_s=takt_s
    )
    with _opened(store_url, parquet, keep) as (lot, store):
        found = analyse(lot, asked, summarise=None if store is None else _summariser(store, keep))
    if found.judged_now:
        kept = "and kept" if keep else "`gainladder lot --keep` keeps that"
        say(f"{found.judged_now} runs had no summary and were judged now; {kept}")
    for reason, count in found.left_out:
        say(f"{count} runs left out: {reason}")
    if out:
        from harness import report
        from harness.app.output import write_file
        from harness.app.version import version

        write_file(Path(out), report.units_html(found.result, found.left_out, software=version()))
        say(f"wrote {out}")
    if as_json:
        result_json({**dataclasses.asdict(found.result), "left_out": found.left_out, "judged_now": found.judged_now})
    else:
        for line in lines_of(found.result):
            result(line)
    return 0


@contextlib.contextmanager
def _opened(store_url: str, parquet: str, keep: bool) -> Iterator[tuple[Lot, Store | None]]:
    from harness.lot import ExportedLot, StoredLot
    from harness.store import open_store

    if parquet:
        yield ExportedLot(Path(parquet)), None
        return
    with open_store(store_url, read_only=not keep) as store:
        yield StoredLot(store), store


def _summariser(store: Store, keep: bool) -> Callable[[str], RunSummary]:
    from harness.app.run import judged
    from harness.app.summing import summarised
    from harness.store import keep_summary

    def summarise(run_id: str) -> RunSummary:
        short = summarised(store, *judged(store, run_id))
        if keep:
            keep_summary(store, short)
        return short

    return summarise


def _limits(path: str) -> OtherLimits | None:
    if not path:
        return None
    from harness.app.files import FileSet
    from harness.config import LimitsFile
    from harness.errors import ConfigError
    from harness.judge import build
    from harness.judge.lot import OtherLimits

    files = FileSet()
    content = files.read(LimitsFile, "limits", path)
    if content is None:
        raise ConfigError(tuple(files.problems))
    return OtherLimits(build(content, file=path))
