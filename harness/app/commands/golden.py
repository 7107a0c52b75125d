"""`gainladder golden`: is the station what it was, and is it good enough?"""

from __future__ import annotations

import click

from harness.app import cautions
from harness.app.options import (
    DEFAULT_REPORTS,
    fault_option,
    json_option,
    lift_option,
    limits_option,
    login,
    seed_option,
    store_option,
)


@click.group(no_args_is_help=True)
def command() -> None:
    """A golden unit against its own history, the station's look at itself, and gauge studies from stored runs."""



@command.command(short_help="Measure a golden unit, hold it against its history.")
@click.argument("job", metavar="JOB")
@click.option("--unit", required=True, metavar="SERIAL", help="Serial number of the golden unit.")
@click.option("--bench", "bench_path", default="", metavar="FILE", help="Bench instead of the job's own.")
@limits_option
@store_option
@click.option("--reports", default=DEFAULT_REPORTS, show_default=True, metavar="DIR", help="Where pages go.")
@seed_option
@fault_option
@lift_option
@click.option("--new-reference", "restart", default="", metavar="REASON", help="Forget its history; build a new one.")
@click.option("--operator", default="", metavar="NAME", help="Name or badge of who runs it; default: the login.")
@json_option
def check(
    job: str,
    unit: str,
    bench_path: str,
    limits_path: str,
    store_url: str,
    reports: str,
    seed: int | None,
    faults: tuple[str, ...],
    lifts: tuple[str, ...],
    restart: str,
    operator: str,
    as_json: bool,
) -> int:
    """Measure golden unit SERIAL by JOB and hold it against its own history on this station.

    The first checks build the reference. Exit code 0: sound; 1: off its history, or failing its limits; 3: INVALID;
    4: locked out; 5: the reference is still being built.
    """
    from harness.app.bench_open import open_bench
    from harness.app.golden.check import conclude_check
    from harness.app.output import ready_folder, result, result_json, say
    from harness.app.people import whoever
    from harness.app.production import Asked, admit
    from harness.app.run import RunRequest, new_header, record_run, write_report
    from harness.app.setup import read_setup
    from harness.app.signals import interruptible
    from harness.drivers import RealClock
    from harness.errors import UsageError
    from harness.judge import exit_code
    from harness.store import open_store
    from harness.values import GOLDEN_UNIT

    setup = read_setup(job, bench_path=bench_path, limits_path=limits_path, unit=unit)
    if setup.job.night is not None:
        raise UsageError(f"{job}: a night is no golden check; name a job without [night]")
    if setup.job.production is not None and unit not in setup.job.production.golden_units:
        units = ", ".join(setup.job.production.golden_units)
        raise UsageError(f"{job}: {unit} is no golden unit; production.golden_units allows {units}")
    folder = ready_folder(reports)
    say(cautions.short())
    said = operator or login()
    request = RunRequest(unit=unit, operator=whoever(setup, said).name, faults=faults)
    asked = Asked(operator=said, lifts=lifts, acts=("new-reference",) if restart else ())
    with open_store(store_url) as store, interruptible():
        notes = admit(store, setup, unit, asked, RealClock(), golden=True)
        with open_bench(
            setup.bench, setup.device, transport=setup.job.transport, seed=seed, faults=faults, unit=unit
        ) as opened:
            header = new_header(setup, opened, request)
            say(f"run {header.run_id}: golden unit {unit}, {len(setup.every_rung)} readings, {opened.mode} bench")
            station = record_run(setup, opened, store, header, notes=((GOLDEN_UNIT, unit), *notes))
        checked = conclude_check(store, setup, header.run_id, station, RealClock(), restart=restart)
        page = write_report(store, checked.header, checked.result, folder)
    if as_json:
        result_json(checked.content | {"report": str(page)})
    else:
        for line in (*checked.lines, f"report {page}"):
            result(line)
    return int(exit_code(checked.look.outcome))


@command.command(short_help="Gauge studies from stored runs.")
@click.argument("runs", nargs=-1, required=True, metavar="RUN...|JOB")
@click.option(
    "--by",
    type=click.Choice(["station", "operator"]),
    default="station",
    show_default=True,
    help="Who measures: whose difference is reproducibility.",
)
@click.option("--reference", default="", metavar="RUN", help="A run whose numbers are the true ones, for bias and Cgk.")
@store_option
@json_option
def study(runs: tuple[str, ...], by: str, reference: str, store_url: str, as_json: bool) -> int:
    """Gauge studies from stored runs, named one by one, or all finished ones of a JOB file.

    Type-1 study (Cg, Cgk), gauge R&R by average and range and by analysis of variance, station against station:
    whichever the runs allow. Exit code 0: good enough; 1: not; 5: too few runs to say.
    """
    from harness.app.golden.study import code_of, lines_of, reduced_runs, runs_of_job
    from harness.app.golden.study import study as made_of
    from harness.app.output import result, result_json, say
    from harness.app.setup import read_setup
    from harness.errors import UsageError
    from harness.store import open_store

    with open_store(store_url, read_only=True) as store:
        if len(runs) == 1 and runs[0].endswith(".toml"):
            chosen = runs_of_job(store, read_setup(runs[0], ladder=False).job.name)
        else:
            chosen = tuple(store.resolve(run) for run in runs)
        found, left_out = reduced_runs(store, chosen, by=by)
        true = None
        if reference:
            reduced, bad = reduced_runs(store, [store.resolve(reference)], by=by)
            if not reduced:
                raise UsageError(f"--reference: {bad[0]}; allowed is a complete run that is not INVALID")
            true = reduced[0].numbers
    for line in left_out:
        say(line)
    content = made_of(found, reference=true)
    if as_json:
        result_json(content)
    else:
        for line in lines_of(content):
            result(line)
    return int(code_of(content))


@command.command(short_help="Let a station look at itself.")
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
