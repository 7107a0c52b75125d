"""`gainladder export`: hand on what could not be handed on after its unit."""

from __future__ import annotations

import click

from harness.app.options import json_option, store_option


@click.command()
@click.option("--list", "only_list", is_flag=True, help="Say what waits; try nothing.")
@click.option("--job", "job_path", default="", metavar="FILE", help="By [export] of this job, not by that of each run.")
@click.option("--follow", is_flag=True, help="Try again and again, until Ctrl-C.")
@store_option
@json_option
def command(only_list: bool, job_path: str, follow: bool, store_url: str, as_json: bool) -> int:
    """Hand on the results that wait: files and command of [export] in the job. Needs no bench.

    What fails stays in the queue; a verdict never depends on it. A command may be called again for a run that it has
    taken already, if the computer died in between: the id of the run says so. Exit code 0: nothing waits; 3: something.
    """
    from harness.app.export.queue import try_again, waiting
    from harness.app.output import result, result_json
    from harness.app.setup import read_setup
    from harness.drivers import RealClock
    from harness.errors import ExitCode, UsageError
    from harness.store import open_store

    if only_list and (follow or job_path):
        raise UsageError("export: got --list with --follow or --job; allowed is --list alone, which tries nothing")
    wanted = None
    if job_path:
        wanted = read_setup(job_path, ladder=False).job.export
        if wanted is None:
            raise UsageError(f"export: {job_path} has no [export]; allowed is a job that has one")
    done = 0
    with open_store(store_url, read_only=only_list) as store:
        if not only_list:
            done, _ = try_again(store, RealClock(), wanted=wanted)
            if follow:
                from harness.app.export.following import follow as go_on

                done += go_on(store, RealClock(), wanted=wanted)
        rest = waiting(store)
    if as_json:
        rows = [
            {"run": one.run_id, "left": list(one.state.left), "tries": one.state.tries, "why": one.state.text}
            for one in rest
        ]
        result_json({"done": done, "waiting": rows})
    else:
        for one in rest:
            result(str(one))
        result(f"{done} units handed on, {len(rest)} waiting")
    return ExitCode.INVALID if rest else ExitCode.PASS
