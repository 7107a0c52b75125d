"""`gainladder runs`: what the store holds."""

from __future__ import annotations

import click

from harness.app.options import json_option, store_option


@click.command()
@store_option
@json_option
def command(store_url: str, as_json: bool) -> int:
    """List the recorded runs, newest first."""
    from harness.app import forwarding
    from harness.app.export.queue import waiting as exports_waiting
    from harness.app.output import result, result_json, say
    from harness.store import open_store, targets, waiting_for

    with open_store(store_url, read_only=True) as store:
        runs = store.runs()
        exports = len(exports_waiting(store))
        waiting = {target: waiting_for(store, target) for target in targets(store)}
    if as_json:
        result_json(
            [
                {
                    "run": info.header.run_id, "unit": info.header.unit, "started_utc": info.header.started_utc,
                    "finished_utc": info.finished_utc, "end": info.end, "mode": info.header.mode,
                    "planned": info.header.planned, "readings": info.readings, "faults": list(info.header.faults),
                }
                for info in runs
            ]
        )  # fmt: skip
        return 0
    if not runs:
        say(f"{store_url} holds no runs yet")
    for info in runs:
        end = info.end or "not finished"
        result(
            f"{info.header.run_id}  {info.header.unit:<12} {info.header.started_utc[:19]}Z  {end:<12}"
            f" {info.readings}/{info.header.planned} readings  {info.header.mode}"
        )
    if exports:
        say(f"results of {exports} runs wait to be handed on; see `gainladder export`")
    for target, rest in waiting.items():
        if rest.runs:
            say(f"{target}: {forwarding.words(rest)} waiting; see `gainladder store forward`")
    return 0
