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
    from harness.lot import Analysed, Asked, Lot
    from harness.store import Store
    from harness.values import RunSummary


@click.command()
@click.option("--job", default="", metavar="NAME", help="Runs of this job file; default: the last run's.")
@click.option("--since", default="", metavar="DATE", help="Runs begun on this day (UTC) or later.")
@click.option("--takt", "takt_s", type=click.FloatRange(min=0.0, min_open=True), metavar="S", help="Seconds a unit.")
@click.option("--parquet", default="", metavar="DIR", help="A folder of `store export --parquet` instead of a store.")
@click.option("--keep", is_flag=True, help="Keep the summaries of runs that have none.")
@click.option("--rejudge", is_flag=True, help="Judge every run anew from its raw record; with --limits by those.")
@click.option(
    "--cluster", "cluster_at", default="", metavar="ADDRESS|N",
    help="The same on the workers of a Dask cluster, or on N of this computer.",
)
@click.option(
    "--morning", "hours", type=click.FloatRange(min=0.0, max=744.0, min_open=True), metavar="HOURS",
    help="The page of the shift that ends now and was so long, and where things stand; with --out.",
)
@click.option("--out", default="", metavar="PAGE.html", help="Write a page too.")
@limits_option
@store_option
@json_option
def command(
    job: str, since: str, takt_s: float | None, parquet: str, keep: bool, limits_path: str, store_url: str,
    as_json: bool, hours: float | None, out: str, rejudge: bool, cluster_at: str,
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
    if hours is not None:
        if parquet or since or limits_path or keep or rejudge or cluster_at or not out:
            raise UsageError("lot --morning: allowed are --job, --takt, --store, --json; --out must be given")
        return _morning(store_url, job, hours, takt_s, out, as_json=as_json)
    if rejudge or cluster_at:
        if parquet or keep:
            raise UsageError("lot: --rejudge and --cluster read raw records of a store, and keep nothing of what they "
                             "find: leave --parquet and --keep out")  # fmt: skip
        found = _anew(store_url, Asked(job=job, since=day(since), takt_s=takt_s), limits_path, cluster_at)
    else:
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


def _anew(store_url: str, asked: Asked, limits_path: str, cluster_at: str) -> Analysed:
    """Judged anew, here or on a cluster."""
    from harness.app.output import say
    from harness.app.rejudging import judge_anew
    from harness.lot import StoredLot, analyse
    from harness.lot.rejudged import Here, RejudgedLot, cluster
    from harness.store import open_store

    work = judge_anew(store_url, limits_path)
    with (
        open_store(store_url, read_only=True) as store,
        cluster(cluster_at) if cluster_at else contextlib.nullcontext((Here(), 1)) as (workers, count),
    ):
        lot = RejudgedLot(StoredLot(store), work, workers, count=count)
        found = analyse(lot, asked, summarise=lot.failed)
    say(f"{lot.done} runs judged anew by {count} {'worker' if count == 1 else 'workers'}")
    return found


def _morning(store_url: str, job: str, hours: float, takt_s: float | None, out: str, *, as_json: bool) -> int:
    from harness import report
    from harness.app.morning import morning
    from harness.app.output import result, result_json, say, write_file
    from harness.app.version import version
    from harness.drivers import RealClock
    from harness.lot.text import share
    from harness.store import open_store

    with open_store(store_url, read_only=True) as store:
        found = morning(store, job=job, hours=hours, takt_s=takt_s, clock=RealClock())
    write_file(Path(out), report.morning_html(found, software=version()))
    say(f"wrote {out}")
    if as_json:
        result_json(dataclasses.asdict(found))
        return 0
    locked = [one.name for one in found.stations if one.locks]
    result(f"{len(found.stations) - len(locked)} of {len(found.stations)} stations up" + "".join(
        f"; locked: {name}" for name in locked
    ))
    result("no unit was judged" if found.shift is None else f"first pass   {share(found.shift.first_pass)}")
    result(f"{len(found.held)} units held back, {len(found.waiting)} things wait")
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
