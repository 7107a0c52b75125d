"""`gainladder golden station`: the station looks at itself."""

from __future__ import annotations

import click

from harness.app import cautions
from harness.app.options import fault_option, json_option, lift_option, login, seed_option, store_option


@click.command()
@click.argument("job", metavar="JOB")
@click.option("--unit", required=True, metavar="SERIAL", help="Serial number of the good unit that is connected.")
@click.option("--bench", "bench_path", default="", metavar="FILE", help="Bench instead of the job's own.")
@store_option
@seed_option
@fault_option
@lift_option
@click.option("--operator", default="", metavar="NAME", help="Name or badge of who runs it; default: the login.")
@json_option
def station(
    job: str, unit: str, bench_path: str, store_url: str, seed: int | None, faults: tuple[str, ...],
    lifts: tuple[str, ...], operator: str, as_json: bool,
) -> int:
    """Let the station of JOB look at itself, with golden unit SERIAL connected: seconds, at every start.

    Loop-back (meter against source), exact factors (what all gains share, and what makes such a factor), noise floor
    (source off), bus pattern (each bit of each word both ways). Exit code 0: fit; 1: not; 3: INVALID; 4: locked out;
    5: nothing could be compared here.
    """
    from harness.app.bench_open import open_bench
    from harness.app.golden.station import conclude_station, station_setup
    from harness.app.output import result, result_json, say
    from harness.app.people import whoever
    from harness.app.production import Asked, admit
    from harness.app.run import RunRequest, new_header, record_run
    from harness.app.setup import read_setup
    from harness.app.signals import interruptible
    from harness.drivers import RealClock
    from harness.errors import UsageError
    from harness.judge import exit_code
    from harness.store import open_store
    from harness.values import GOLDEN_UNIT

    setup = read_setup(job, bench_path=bench_path, unit=unit)
    if setup.job.production is not None and unit not in setup.job.production.golden_units:
        units = ", ".join(setup.job.production.golden_units)
        raise UsageError(f"{job}: {unit} is no golden unit; production.golden_units allows {units}")
    say(cautions.short())
    short = station_setup(setup)
    said = operator or login()
    request = RunRequest(unit=unit, operator=whoever(setup, said).name, faults=faults)
    with open_store(store_url) as store, interruptible():
        notes = admit(store, setup, unit, Asked(operator=said, lifts=lifts), RealClock(), golden=True)
        with open_bench(
            setup.bench, setup.device, transport=setup.job.transport, seed=seed, faults=faults, unit=unit
        ) as opened:
            header = new_header(short, opened, request)
            say(f"run {header.run_id}: station with unit {unit}, {len(short.every_rung)} readings, {opened.mode} bench")
            fault = record_run(short, opened, store, header, notes=((GOLDEN_UNIT, unit), *notes))
        looked = conclude_station(store, short, header.run_id, fault, RealClock())
    if as_json:
        result_json(looked.content)
    else:
        for line in looked.lines:
            result(line)
    return int(exit_code(looked.check.outcome))
