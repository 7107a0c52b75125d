"""`gainladder watch`: a run's progress from another terminal."""

from __future__ import annotations

import click

from harness.app.options import store_option


@click.command()
@click.argument("run", metavar="RUN")
@store_option
@click.option("--json", "as_json", is_flag=True, help="One machine-readable object a line on stdout.")
def command(run: str, store_url: str, as_json: bool) -> int:
    """Follow RUN (id, unique prefix or `last`) until it ends: 0 when it finished, 3 when it broke off.

    Only reads the record: the run is not disturbed. A run whose process is gone is said to have died.
    """
    import json

    from harness.app.output import result, say
    from harness.app.watching import DIED, json_of, line_of, looks
    from harness.drivers import RealClock
    from harness.errors import ExitCode
    from harness.store import open_store

    end = ""
    with open_store(store_url, read_only=True) as store:
        run_id = store.resolve(run)
        for look in looks(store, run_id, sleep=RealClock().sleep):
            end = look.end
            if as_json:
                result(json.dumps(json_of(look), ensure_ascii=False, allow_nan=False))
                continue
            for event in look.events:
                result(f"{event.at_utc[11:19]}Z  {event.kind}  {event.text}".rstrip())
            result(line_of(look))
    if end == DIED:
        say(f"run {run_id} died: its process is gone; `gainladder resume {run_id}` goes on with it")
    return int(ExitCode.PASS if end == "finished" else ExitCode.INVALID)
