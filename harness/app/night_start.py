"""A night begun, or gone on with: from the command's words, or from its record, to what is carried out."""

from __future__ import annotations

import functools
import secrets
import sys
from collections.abc import Callable

import click

from harness.app.changed_files import refuse_changes
from harness.app.files import FileSet
from harness.app.night import NightEnd, NightRequest, carry_out
from harness.app.output import say
from harness.app.resume import ResumeRequest
from harness.app.run import RunRequest
from harness.app.setup import Setup, read_setup
from harness.errors import UsageError
from harness.store import Store
from harness.values import RunHeader


def new_night(
    store: Store, setup: Setup, again: Callable[[int], Setup], run: RunRequest, *, unit: str, seed: int | None, utc: str
) -> tuple[str, NightEnd]:
    """Begin a night; its id, and how it came out. `again` reads the job for another cycle."""
    night = setup.job.night
    units = (unit,) if unit or night is None or not night.units else night.units
    stamp = utc[:19].replace("-", "").replace(":", "")
    night_id = f"{stamp}-night-{secrets.token_hex(4)}"
    request = NightRequest(
        night_id=night_id,
        setup_of_cycle=_by_cycle(setup, again),
        units=tuple(each or run.unit for each in units),
        run=run,
        seed=seed,
        connect=_connector(setup, len(units)),
    )
    say(f"night {night_id}: {len(request.units)} units, {len(night.corner) if night else 0} corners")
    return night_id, carry_out(store, request)


def resumed_night(store: Store, header: RunHeader, asked: ResumeRequest) -> tuple[str, NightEnd]:
    """Go on with the night that a run belongs to, by the files in its record."""
    place = header.night
    if place is None:  # pragma: no cover - only runs of a night come here
        raise UsageError(f"run {header.run_id} is no part of a night")
    found = refuse_changes(header, job_path=asked.job_path, bench_path=asked.bench_path, as_recorded=asked.as_recorded)
    stored = {file.role: file for file in header.files}
    if found.bench is not None:
        stored["bench"] = found.bench

    def again(cycle: int) -> Setup:
        return read_setup(header.file("job").path, files=FileSet(stored=dict(stored), from_record=True), cycle=cycle)

    setup = again(0)
    night = setup.job.night
    if night is None:  # pragma: no cover - the job in the record has one, else the run had no place in it
        raise UsageError(f"run {header.run_id}: its job has no [night]")
    several = place.planned == len(night.corner) * night.cycles * len(night.units)
    units = night.units if several and night.units else (header.unit,)
    request = NightRequest(
        night_id=place.night_id,
        setup_of_cycle=_by_cycle(setup, again),
        units=units,
        run=RunRequest(unit=header.unit, operator=header.operator, faults=header.faults),
        seed=header.seed,
        connect=_connector(setup, len(units)),
    )
    say(f"night {place.night_id} goes on")
    return place.night_id, carry_out(store, request)


def _by_cycle(setup: Setup, again: Callable[[int], Setup]) -> Callable[[int], Setup]:
    """The setup of each cycle; without random blocks they are all one."""

    @functools.cache
    def made(cycle: int) -> Setup:
        return setup if cycle == 0 or setup.job.ladder.order == "sorted" else again(cycle)

    return made


def _connector(setup: Setup, units: int) -> Callable[[str], None]:
    """Asks for each unit where several hang on one real bench; UsageError, before anything, where nobody can answer."""
    if setup.bench.file.simulation is not None or units < 2:
        return lambda unit: None
    if not sys.stdin.isatty():
        raise UsageError("a night of several units needs somebody at the terminal to connect them, or --unit SERIAL")
    return lambda unit: click.pause(f"connect unit {unit}, then press a key")
