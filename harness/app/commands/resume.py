"""`gainladder resume`: go on with an interrupted run."""

from __future__ import annotations

import click

from harness.app import cautions
from harness.app.options import DEFAULT_REPORTS, forward_option, json_option, lift_option, login, store_option


@click.command()
@click.argument("run", metavar="RUN")
@click.option("--job", "job_path", default="", metavar="FILE", help="Where the run's job file is now.")
@click.option("--bench", "bench_path", default="", metavar="FILE", help="The run's bench with other addresses.")
@click.option(
    "--as-recorded", is_flag=True, help="Go on by the files in the record although they have changed on disk."
)
@store_option
@forward_option
@click.option("--reports", default=DEFAULT_REPORTS, show_default=True, metavar="DIR", help="Where pages go.")
@lift_option
@click.option("--operator", default="", metavar="NAME", help="Name or badge of who goes on; default: the login.")
@json_option
def command(
    run: str,
    job_path: str,
    bench_path: str,
    as_recorded: bool,
    store_url: str,
    forward_url: str,
    reports: str,
    lifts: tuple[str, ...],
    operator: str,
    as_json: bool,
) -> int:
    """Go on with RUN (id, unique prefix or `last`): killed, interrupted, or stopped by trouble with the bench.

    The same instruments must answer, wherever they are plugged in now. An anchor and the last three settings are read
    again first; when they have moved, the record says so. What was read stays. A run of a night stands for the whole
    night: all its runs that are not finished are taken. In production mode the locks are asked again.
    """
    from harness.app.ending import conclude
    from harness.app.forward_beside import forwarding_beside
    from harness.app.output import ready_folder, say
    from harness.app.production import Asked, admit
    from harness.app.resume import ResumeRequest, resume_run
    from harness.app.setup import setup_of_run
    from harness.app.signals import interruptible
    from harness.drivers import RealClock
    from harness.errors import UsageError
    from harness.store import open_store
    from harness.values import GOLDEN_UNIT

    folder = ready_folder(reports)
    asked = Asked(operator=operator or login(), lifts=lifts)
    request = ResumeRequest(job_path=job_path, bench_path=bench_path, as_recorded=as_recorded, locks=asked)
    with open_store(store_url) as store, interruptible():
        run_id = store.resolve(run)
        say(cautions.short())
        header = store.header(run_id)
        setup = setup_of_run(header)
        beside = forward_url or setup.job.forward
        if any(event.kind == GOLDEN_UNIT for event in store.events(run_id)):
            raise UsageError(f"run {run_id} is a golden check, which is never gone on with: begin another one")
        with forwarding_beside(store, store_url, beside):
            if header.night is not None:
                from harness.app.night_ending import conclude_night
                from harness.app.night_start import resumed_night

                admit(store, setup, header.unit, asked, RealClock())
                night_id, end = resumed_night(store, header, request)
                return conclude_night(store, night_id, end, folder, as_json=as_json)
            station = resume_run(store, run_id, request)
            return conclude(store, run_id, station, folder, as_json=as_json)
