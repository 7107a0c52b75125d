"""`gainladder store`: see to the record itself, beside what the runs in it say."""

from __future__ import annotations

from pathlib import Path

import click

from harness.app.options import json_option, store_option


@click.group(no_args_is_help=True)
def command() -> None:
    """See to the store: is it whole, keep a copy, forward it to a server, export it."""


@command.command(short_help="Say what is damaged or was changed.")
@store_option
@json_option
def check(store_url: str, as_json: bool) -> int:
    """Read everything and name what is damaged or was changed: pages, records, the chain of hashes, counts."""
    import dataclasses

    from harness.app.output import result, result_json
    from harness.errors import ExitCode
    from harness.store import open_store

    with open_store(store_url, read_only=True) as store:
        found = store.check()
    if as_json:
        result_json(dataclasses.asdict(found))
    else:
        for fault in found.faults:
            result(f"fault: {fault}")
        chain = "every reading in its chain" if found.chained else "no chain yet: the next sweep into it adds one"
        words = f"{len(found.faults)} faults: keep a copy, restore from a backup" if found.faults else "whole"
        result(
            f"{store_url}: {words}; {found.runs} runs, {found.readings} readings, {found.events} lines of journal, "
            f"schema {found.version}, {chain}"
        )
    return ExitCode.INVALID if found.faults else ExitCode.PASS


@command.command(short_help="Copy the store to a file.")
@click.argument("file", type=click.Path(path_type=Path))
@store_option
def backup(file: Path, store_url: str) -> int:
    """Copy the store to FILE, whole or not at all; a run may be recorded meanwhile."""
    from harness.app.output import result
    from harness.store import open_store

    with open_store(store_url, read_only=True) as store:
        store.backup(file)
    with open_store(str(file), read_only=True) as copy:
        runs = copy.runs()
    result(f"{file}: {len(runs)} runs, {sum(info.readings for info in runs)} readings")
    return 0


@command.command(short_help="Copy what is new to a server, nothing twice.")
@click.argument("url", metavar="URL")
@click.option("--follow", is_flag=True, help="Go on as readings come, also while the server is away, until Ctrl-C.")
@click.option("--again", is_flag=True, help="Ask the server about every run: for one that was restored from a backup.")
@store_option
@json_option
def forward(url: str, follow: bool, again: bool, store_url: str, as_json: bool) -> int:
    """Copy what is new in the store to the one at URL, such as postgresql://user@server/database; nothing twice."""
    from harness.app import forwarding
    from harness.app.output import result, result_json
    from harness.app.signals import interruptible
    from harness.drivers import RealClock
    from harness.errors import ExitCode
    from harness.store import Forwarder, open_store

    with open_store(store_url) as store, Forwarder(store, url) as forwarder:
        if again:
            forwarder.compare_all()
        if follow:
            with interruptible():
                sent = forwarding.follow(forwarder, RealClock())
        else:
            sent = forwarding.send(forwarder)
        waiting = forwarder.waiting()
    if as_json:
        result_json(forwarding.as_json(forwarder.target, sent, waiting))
    else:
        result(f"{forwarder.target}: {forwarding.words(sent)} sent, {forwarding.words(waiting)} waiting")
    return ExitCode.INVALID if waiting.runs else ExitCode.PASS


@command.command(short_help="Write all tables as Parquet files.")
@click.option(
    "--parquet", "folder", required=True, metavar="DIR", type=click.Path(path_type=Path), help="The folder to fill."
)
@store_option
def export(folder: Path, store_url: str) -> int:
    """Write all tables as Parquet files, the readings of each run in one of its own; arrays unpacked."""
    from harness.app.output import result
    from harness.store import export_parquet, open_store

    with open_store(store_url, read_only=True) as store:
        written = export_parquet(store, folder)
    result(f"{folder}: {written.runs} runs, {written.readings} readings in {written.files} files")
    return 0
