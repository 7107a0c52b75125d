"""A night: many runs over units, corners and cycles, each recorded for itself, whatever happens to the others."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

from harness.app.bench_open import OpenBench, open_bench
from harness.app.night_watch import NightWatch
from harness.app.output import say
from harness.app.relay_use import RelayUse
from harness.app.retention import drop_by_rule, night_bytes
from harness.app.run import RunRequest, new_header, take_readings
from harness.app.run_lock import owning
from harness.app.setup import Setup
from harness.bench import Clock
from harness.config import Corner, Night
from harness.errors import BenchError, RefusedUnsafe, StationFault, StopCondition, WrongInstrument
from harness.ladder import NightRun, night_runs
from harness.store import Store
from harness.sweep import Around, Resumption, resumption
from harness.values import NightPlace, RunInfo

FOR_GOOD = (WrongInstrument, RefusedUnsafe, StationFault)
"""Trouble that opening the bench anew does not mend."""
REOPEN_S = 60.0
"""Before a bench that was lost is opened again: a hub or an instrument may be starting."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightRequest:
    """What a night is made from."""

    night_id: str
    setup_of_cycle: Callable[[int], Setup]
    """The job as it is walked in one cycle: random blocks differ."""
    units: tuple[str, ...]
    run: RunRequest
    seed: int | None
    connect: Callable[[str], None]
    """Asks the operator to connect a unit; returns when it is."""


@dataclass(slots=True)
class NightEnd:
    """How a night came out, beside what is in the record."""

    finished: int = 0
    planned: int = 0
    stops: list[str] = field(default_factory=list)
    """Why parts of it were given up, for people."""
    trouble: BenchError | None = None
    """What ended it before its time, if the bench did."""


@dataclass(slots=True)
class _Carried:
    """What goes on from unit to unit."""

    relays: RelayUse
    clock: Clock | None = None
    """Of the bench that was open last."""


def carry_out(store: Store, request: NightRequest) -> NightEnd:
    """Take every run of a night that the store does not hold whole.

    A stop condition ends its corner, its unit or the night, and the rest goes on; trouble with the bench ends the
    night. Whatever ends it, the source is off and the chamber is sent back to where the job says.
    """
    night = _night_of(request.setup_of_cycle(0))
    runs = night_runs(night, request.units)
    end = NightEnd(planned=len(runs))
    dead, carried = 0, _Carried(relays=RelayUse(store))
    with owning(request.night_id):
        known = _known(store, request.night_id)
        left = [run for run in runs if not _is_whole(known.get(run.key))]
        end.finished = len(runs) - len(left)
        store.require_room(night_bytes(request.setup_of_cycle(0), len(left)))
        for unit in request.units:
            todo = [run for run in left if run.unit == unit]
            if not todo:
                continue
            request.connect(unit)
            scope = _in_spite_of_trouble(store, request, night, todo, end, carried)
            dead += scope == "unit"
            if scope == "night":
                break
            if dead >= night.stop.units_dead:
                end.stops.append(f"{dead} units were given up: then it is not the units, everything stops")
                break
    return end


def _in_spite_of_trouble(
    store: Store, request: NightRequest, night: Night, todo: list[NightRun], end: NightEnd, carried: _Carried
) -> str:
    """All runs of one unit, on a bench that is opened anew when it was lost; what was given up, as of `_unit`."""
    for left in reversed(range(night.stop.bench_lost + 1)):
        known = _known(store, request.night_id)
        rest = [run for run in todo if not _is_whole(known.get(run.key))]
        before = len(end.stops)
        scope = _unit(store, request, night, rest, known, end, carried)
        if scope != "bench":
            return scope
        if not left or carried.clock is None:
            return "night"
        say(f"the bench is opened again in {REOPEN_S:g} s, {left} times at most: {'; '.join(end.stops[before:])}")
        del end.stops[before:]
        end.trouble = None
        carried.clock.sleep(REOPEN_S)
    return "night"  # pragma: no cover - the last turn has returned


def _unit(
    store: Store,
    request: NightRequest,
    night: Night,
    todo: list[NightRun],
    known: dict[tuple[int, int], RunInfo],
    end: NightEnd,
    carried: _Carried,
) -> str:
    """Runs of one unit on one open bench; what was given up: corner (and less), unit, night; bench: it was lost."""
    setup = request.setup_of_cycle(0)
    unit = todo[0].unit
    scope = ""
    try:
        with open_bench(
            setup.bench, setup.device, transport=setup.job.transport, seed=request.seed, faults=request.run.faults,
            unit=unit, after=carried.clock,
        ) as opened, _back_to(Around(opened.bench.surroundings), night.rest_c) as around:  # fmt: skip
            carried.clock = opened.bench.clock
            visit, given_up = -1, -1
            for run in todo:
                if run.visit == given_up:
                    continue
                fresh = run.visit != visit
                if fresh:
                    _set(around, run.corner)
                    visit = run.visit
                try:
                    before = known.get(run.key)
                    station = _one(store, request, opened, around, night, run, before, carried.relays, dwell=fresh)
                except StopCondition as stop:
                    end.stops.append(f"{unit}, {run.corner.name}: {stop}")
                    say(f"stopped ({stop.scope}): {stop}")
                    if stop.scope != "corner":
                        return stop.scope
                    given_up, scope = run.visit, "corner"
                    continue
                if station is not None:
                    end.stops.append(f"{unit}, {run.corner.name}: station fault {station.fault}: {station}")
                    end.trouble = station
                    return "night"
                end.finished += 1
    except BenchError as error:
        end.trouble = error
        end.stops.append(f"{unit}: {type(error).__name__}: {error}")
        return "night" if isinstance(error, FOR_GOOD) else "bench"
    return scope


def _one(
    store: Store, request: NightRequest, opened: OpenBench, around: Around, night: Night, run: NightRun,
    before: RunInfo | None, relays: RelayUse, *, dwell: bool,
) -> StationFault | None:  # fmt: skip
    """One run, begun or gone on with."""
    setup = request.setup_of_cycle(run.cycle)
    warnings = relays.check(setup, run.unit)
    place = NightPlace(
        night_id=request.night_id,
        visit=run.visit,
        corner=run.corner.name,
        cycle=run.cycle,
        temperature_c=run.corner.temperature_c,
        supply_v=run.corner.supply_v,
        planned=len(night.corner) * night.cycles * len(request.units),
    )
    clock = opened.bench.clock
    if before is None:
        header = new_header(setup, opened, replace(request.run, unit=run.unit), place)
        recorder = store.begin(header, clock)
        left = Resumption.of_new_run(setup.every_rung)
    else:
        header = before.header
        left = resumption(
            setup.every_rung, store.readings(header.run_id), frequency_hz=setup.device.acquisition.frequency_hz
        )
        recorder = store.resume(header.run_id, clock, f"{len(left.left)} of {header.planned} readings left")
    say(f"run {header.run_id}: unit {run.unit}, {run.corner.name}, cycle {run.cycle + 1} of {night.cycles}")
    for words in warnings:
        recorder.note("relay-budget", words)
    watch = NightWatch(setup, opened, around, store, night, run, dwell=dwell)
    try:
        with owning(header.run_id):
            station = take_readings(setup, opened, recorder, left, watch)
    finally:
        around.journal(None)
    dropped = drop_by_rule(store, setup, header.run_id, clock)
    if dropped:
        say(dropped)
    return station


def _known(store: Store, night_id: str) -> dict[tuple[int, int], RunInfo]:
    """The runs of a night that the store holds."""
    return {
        (night.visit, night.cycle): info
        for info in store.runs()
        if (night := info.header.night) is not None and night.night_id == night_id
    }


def _is_whole(info: RunInfo | None) -> bool:
    return info is not None and info.end == "finished"


def _night_of(setup: Setup) -> Night:
    night = setup.job.night
    if night is None:  # pragma: no cover - only jobs with a night come here
        raise ValueError("the job has no [night]")
    return night


def _set(around: Around, corner: Corner) -> None:
    """Set what the corner names; what the bench lacks was refused when the job was read."""
    if corner.supply_v is not None:
        around.set_voltage(corner.supply_v)
    if corner.temperature_c is not None:
        around.set_temperature(corner.temperature_c)


@contextlib.contextmanager
def _back_to(around: Around, rest_c: float) -> Iterator[Around]:
    """The chamber goes back to rest whatever happens: a cold one that is left alone gathers water."""
    try:
        yield around
    finally:
        try:
            around.set_temperature(rest_c)
        except BenchError as error:
            say(f"THE CHAMBER MAY STILL BE AT ITS CORNER: {error}")
