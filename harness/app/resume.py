"""Going on with a run that did not finish: what may be gone on with, and with what."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from harness.app.bench_open import OpenBench, open_bench
from harness.app.changed_files import Changes, refuse_changes
from harness.app.files import FileSet
from harness.app.options import login
from harness.app.output import say
from harness.app.production import Asked, Notes, admit
from harness.app.run import UNNAMED, bytes_of, take_readings
from harness.app.run_lock import owning
from harness.app.setup import Setup, read_setup
from harness.drivers import RealClock
from harness.errors import StationFault, UsageError, WrongInstrument
from harness.store import Store
from harness.sweep import Resumption, resumption
from harness.values import RunHeader


@dataclass(frozen=True, slots=True, kw_only=True)
class ResumeRequest:
    """What the user asked for."""

    job_path: str = ""
    """Where the job is now; empty: where the record says."""
    bench_path: str = ""
    """A bench file with other addresses; empty: the run's own."""
    as_recorded: bool = False
    """Go on by the files in the record, although they have changed on disk."""
    locks: Asked = field(default_factory=lambda: Asked(operator=login()))
    """What is said of locks; a job with [production] asks them again."""


def resume_run(store: Store, run_id: str, request: ResumeRequest) -> StationFault | None:
    """Take the readings that a run still lacks; the station fault that stopped it again, if one did.

    UsageError: the run is finished or under way, or its files have changed. WrongInstrument: another instrument than
    the run's answers. LockedOut: a lock of the station or the unit holds now.
    """
    info = store.info(run_id)
    header = info.header
    if info.end == "finished":
        raise UsageError(f"run {run_id} is finished, nothing is left of it: begin another run with `gainladder sweep`")
    with owning(run_id):
        found = refuse_changes(
            header, job_path=request.job_path, bench_path=request.bench_path, as_recorded=request.as_recorded
        )
        setup = _setup(header, found, request.job_path)
        notes = admit(store, setup, header.unit, request.locks, RealClock(), run_id=run_id)
        todo = resumption(
            setup.every_rung, store.readings(run_id), frequency_hz=setup.device.acquisition.frequency_hz
        )
        store.require_room(bytes_of(setup, todo.left))
        with open_bench(
            setup.bench,
            setup.device,
            transport=setup.job.transport,
            seed=header.seed,
            faults=header.faults,
            unit="" if header.unit == UNNAMED else header.unit,
        ) as opened:
            _check_same(header, opened)
            return _go_on(store, header, setup, opened, todo, _how(found, request), notes)


def _setup(header: RunHeader, found: Changes, job_path: str) -> Setup:
    """The setup in the record; of the bench on disk only the addresses."""
    stored = {file.role: file for file in header.files}
    if found.bench is not None:
        stored["bench"] = found.bench
    cycle = 0 if header.night is None else header.night.cycle
    files = FileSet(stored=stored, from_record=True)
    return read_setup(job_path or header.file("job").path, files=files, cycle=cycle, unit=header.unit)


def _check_same(header: RunHeader, opened: OpenBench) -> None:
    recorded = dict(header.identities)
    for role, identity in opened.identities:
        before = recorded.get(role)
        if before is None or replace(before, firmware=identity.firmware) != identity:
            raise WrongInstrument(
                f"{identity} answers as the {role}; run {header.run_id} began with {before or 'none'}: bring that "
                "instrument back, or begin another run",
                instrument=role,
            )


def _go_on(
    store: Store, header: RunHeader, setup: Setup, opened: OpenBench, todo: Resumption, how: str, notes: Notes
) -> StationFault | None:
    recorded = dict(header.identities)
    firmware = [
        f"firmware of the {role} was {recorded[role].firmware}, is {identity.firmware}"
        for role, identity in opened.identities
        if recorded[role].firmware != identity.firmware
    ]
    text = "; ".join(filter(None, (f"{len(todo.left)} of {header.planned} readings left", how, *firmware)))
    say(f"run {header.run_id} goes on: {text}")
    recorder = store.resume(header.run_id, opened.bench.clock, text)
    for kind, line in notes:
        recorder.note(kind, line)
    return take_readings(setup, opened, recorder, todo)


def _how(found: Changes, request: ResumeRequest) -> str:
    said = []
    if found.bench is not None:
        said.append(f"addresses from {found.bench.path} (sha256 {found.bench.sha256[:12]})")
    if found.changed and request.as_recorded:
        said.append(f"by the files in the record although: {'; '.join(found.changed)}")
    return "; ".join(said)
