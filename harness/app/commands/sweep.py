"""`gainladder sweep`: walk a job's ladder, record, judge, report."""

from __future__ import annotations

import click

from harness.app import cautions
from harness.app.options import (
    DEFAULT_REPORTS,
    fault_option,
    forward_option,
    json_option,
    lift_option,
    limits_option,
    login,
    seed_option,
    store_option,
)
from harness.errors import UsageError


@click.command()
@click.argument("job", metavar="JOB")
@click.option("--unit", default="", metavar="SERIAL", help="Serial number of the unit under test.")
@click.option("--bench", "bench_path", default="", metavar="FILE", help="Bench instead of the job's own.")
@limits_option
@store_option
@forward_option
@click.option("--reports", default=DEFAULT_REPORTS, show_default=True, metavar="DIR", help="Where pages go.")
@seed_option
@fault_option
@click.option("--probe", is_flag=True, help="After the ladder take the readings that tell the likely faults apart.")
@lift_option
@click.option("--repaired", default="", metavar="TEXT", help="What was done to the unit: its runs are counted anew.")
@click.option("--operator", default="", metavar="NAME", help="Name or badge of who runs it; default: the login.")
@json_option
def command(
    job: str,
    unit: str,
    bench_path: str,
    limits_path: str,
    store_url: str,
    forward_url: str,
    reports: str,
    seed: int | None,
    faults: tuple[str, ...],
    probe: bool,
    lifts: tuple[str, ...],
    repaired: str,
    operator: str,
    as_json: bool,
) -> int:
    """Walk the ladder of JOB on its bench: every reading is recorded, then judged, then reported."""
    from harness.app.bench_open import open_bench
    from harness.app.ending import conclude
    from harness.app.forward_beside import forwarding_beside
    from harness.app.output import ready_folder, say
    from harness.app.people import whoever
    from harness.app.production import Asked, admit
    from harness.app.run import UNNAMED, RunRequest, new_header, record_run
    from harness.app.setup import Setup, read_setup
    from harness.app.signals import interruptible
    from harness.drivers import RealClock
    from harness.store import open_store

    setup = read_setup(job, bench_path=bench_path, limits_path=limits_path, unit=unit or UNNAMED)
    if not unit and setup.bench.file.simulation is None and not (setup.job.night and setup.job.night.units):
        raise UsageError("a real bench needs --unit SERIAL: a record without a serial number is worthless")
    folder = ready_folder(reports)
    say(cautions.short())
    said = operator or login()
    request = RunRequest(unit=unit or UNNAMED, operator=whoever(setup, said).name, faults=faults)
    beside = forward_url or setup.job.forward
    asked = Asked(operator=said, lifts=lifts, repaired=repaired)
    with open_store(store_url) as store, interruptible(), forwarding_beside(store, store_url, beside) as plant:
        notes = admit(store, setup, request.unit, asked, RealClock())
        if setup.job.night is not None:
            from harness.app.night_ending import conclude_night
            from harness.app.night_start import new_night

            def again(cycle: int) -> Setup:
                return read_setup(job, bench_path=bench_path, limits_path=limits_path, cycle=cycle)

            night_id, end = new_night(store, setup, again, request, unit=unit, seed=seed, utc=RealClock().utc())
            return conclude_night(store, night_id, end, folder, as_json=as_json)
        with open_bench(
            setup.bench, setup.device, transport=setup.job.transport, seed=seed, faults=faults, unit=unit
        ) as opened:
            plant.reachable = opened.reaches_plant
            header = new_header(setup, opened, request)
            size = f"{len(setup.every_rung)} readings of {len(setup.planned())} settings"
            say(f"run {header.run_id}: {size}, {opened.mode} bench")
            station = record_run(setup, opened, store, header, probing=probe, notes=notes)
        return conclude(store, header.run_id, station, folder, as_json=as_json)
