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

    A run of a night is followed by the runs behind it, until the night is over; 0 when all of them finished. Only reads
    the record: the run is not disturbed. A run whose process is gone is said to have died.
    """
    import json

    from harness.app.night_watching import followed, night_json, night_line, night_look
    from harness.app.output import result, say
    from harness.app.watching import DIED, json_of, line_of, looks
    from harness.drivers import RealClock
    from harness.errors import ExitCode
    from harness.store import open_store

    def told(content: dict[str, object]) -> None:
        result(json.dumps(content, ensure_ascii=False, allow_nan=False))

    sleep = RealClock().sleep
    ends = []
    with open_store(store_url, read_only=True) as store:
        for run_id in followed(store, store.resolve(run), sleep=sleep):
            place = night_look(store, run_id)
            if place is not None:
                told(night_json(place)) if as_json else result(night_line(place))
            for look in looks(store, run_id, sleep=sleep):
                if as_json:
                    told(json_of(look))
                    continue
                for event in look.events:
                    result(f"{event.at_utc[11:19]}Z  {event.kind}  {event.text}".rstrip())
                result(line_of(look))
            ends.append(look.end)
            if look.end == DIED:
                say(f"run {run_id} died: its process is gone; `gainladder resume {run_id}` goes on with it")
    return int(ExitCode.PASS if all(end == "finished" for end in ends) else ExitCode.INVALID)
