"""`gainladder store`: see to the record itself, beside what the runs in it say."""

from __future__ import annotations

from pathlib import Path

import click

from harness.app.options import json_option, store_option


@click.group(no_args_is_help=True)
def command() -> None:
    """See to the store: is it whole, keep a copy."""


@command.command()
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


@command.command()
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
