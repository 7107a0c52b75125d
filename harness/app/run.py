"""One run from begin to report: record first, then judge what was recorded."""

from __future__ import annotations

import contextlib
import dataclasses
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from harness import report
from harness.app import probe
from harness.app.averaging import averaging_plan
from harness.app.bench_open import OpenBench
from harness.app.certificates import certificates_of
from harness.app.closer_look import detail_of
from harness.app.collector import collector_paused
from harness.app.kept_facts import KeptFacts
from harness.app.ladder_words import ladder_words
from harness.app.output import say, write_file
from harness.app.progress import progress_bar
from harness.app.relay_use import RelayUse
from harness.app.run_lock import owning
from harness.app.setup import Setup, setup_of_run
from harness.app.version import version
from harness.diagnosis import station_faults
from harness.errors import StationFault, StoreError
from harness.judge import RunJudge, Statement
from harness.store import RunRecorder, Store
from harness.sweep import AnchorPlan, Resumption, SweepPlan, Walk
from harness.values import NightPlace, Outcome, Reading, Rung, RunHeader, RunResult

UNNAMED = "simulated"
"""Serial number of a unit that has none."""
BESIDE_BYTES = 4000
"""A capture of the bus and all texts of a reading: 1 to 3 kB on the simulated bench, and some readings are retried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRequest:
    """What the user asked for."""

    unit: str
    operator: str
    faults: tuple[str, ...]


class RunWatch(Protocol):
    """Somebody who looks on while readings are taken; each call may raise StopCondition."""

    def before(self, walk: Walk, recorder: RunRecorder) -> None:
        """Before the first rung."""
        ...

    def seen(self, reading: Reading) -> None:
        """After each rung."""
        ...

    def after(self, recorder: RunRecorder) -> None:
        """After the last rung."""
        ...


def new_header(
    setup: Setup, opened: OpenBench, request: RunRequest, night: NightPlace | None = None
) -> RunHeader:
    """The header of a run that is about to begin."""
    utc = opened.bench.clock.utc()
    stamp = utc[:19].replace("-", "").replace(":", "")
    return RunHeader(
        run_id=f"{stamp}-{secrets.token_hex(4)}",
        unit=request.unit,
        operator=request.operator,
        started_utc=utc,
        mode=opened.mode,
        seed=opened.seed,
        faults=request.faults,
        planned=len(setup.every_rung),
        identities=opened.identities,
        files=setup.files,
        software=version(),
        night=night,
    )


def plan_of(setup: Setup) -> SweepPlan:
    """The sweep's view of a setup."""
    drive = setup.drive
    return SweepPlan(
        rungs=setup.rungs,
        extras=setup.extras,
        device=setup.device,
        fill_target=setup.job.ladder.fill_target,
        fill_low=setup.job.ladder.fill_low,
        fill_high=setup.job.ladder.fill_high,
        retries=setup.job.retries,
        overlap=setup.job.overlap,
        averaging=averaging_plan(setup.job, setup.limits),
        level_limit_vpk=drive.most_vpk,
        level_least_vpk=drive.least_vpk,
        input_ratio=setup.input_ratio,
        terminal_ratio=setup.terminal_ratio,
        self_check_percent=setup.bench.file.self_check_percent,
        alarm_vpk=drive.alarm_vpk,
        anchors=_anchors(setup),
        factor_faults=station_faults,
        agreement_percent=_agreement_percent(setup),
    )


def _agreement_percent(setup: Setup) -> float | None:
    """What source and reference meter state of their levels, one on top of the other: limits may all be reached."""
    stated = setup.bench.file.uncertainty
    if stated is None or stated.meter is None:
        return None
    parts = [part for level in (stated.source, stated.meter) for part in (level.reading, level.range)]
    return sum(part.percent for part in parts if part is not None)


def _anchors(setup: Setup) -> AnchorPlan | None:
    anchors = setup.job.anchors
    if anchors is None:
        return None
    return AnchorPlan(
        rungs=setup.anchors,
        every_rungs=anchors.every_rungs,
        every_s=anchors.every_s,
        moved_percent=anchors.moved_percent,
    )


def judge_of(setup: Setup, *, waveforms: bool = True) -> RunJudge:
    """A fresh judge for a setup; without waveforms it is quicker, for provisional outcomes."""
    return RunJudge(
        law=setup.law,
        device=setup.device,
        limits=setup.limits,
        planned=setup.planned(),
        bus=setup.wiring,
        input_ratio=setup.input_ratio,
        terminal_ratio=setup.terminal_ratio,
        statement=Statement.of(setup.bench.file, setup.device),
        waveforms=waveforms,
        extras=setup.extras,
        certificates=certificates_of(setup.bench.file),
    )


def record_run(
    setup: Setup,
    opened: OpenBench,
    store: Store,
    header: RunHeader,
    *,
    probing: bool = False,
    notes: Sequence[tuple[str, str]] = (),
) -> StationFault | None:
    """Sweep and record. Returns the station fault that stopped the sweep, if one did; the run is then recorded too.

    `notes` are kind and text of lines that the journal begins with.

    StopCondition, before anything is recorded: a relay of the unit would pass half of its life.
    """
    store.require_room(bytes_of(setup, setup.every_rung))
    warnings = RelayUse(store).check(setup, header.unit)
    with owning(header.run_id):
        recorder = store.begin(header, clock=opened.bench.clock)
        for kind, text in notes:
            recorder.note(kind, text)
        for words in warnings:
            say(words)
            recorder.note("relay-budget", words)
        which = ladder_words(setup, header.unit)
        if which:
            say(which)
            recorder.note("ladder", which)
        return take_readings(setup, opened, recorder, Resumption.of_new_run(setup.every_rung), probing=probing)


def bytes_of(setup: Setup, rungs: Sequence[Rung]) -> int:
    """Room that readings take in a store: two bytes a sample, hardly compressible, and what is written beside them."""
    records = sum(1 if rung.steady is None else rung.steady.kept_records for rung in rungs)
    return records * 2 * setup.device.acquisition.samples + len(rungs) * BESIDE_BYTES


def take_readings(
    setup: Setup,
    opened: OpenBench,
    recorder: RunRecorder,
    todo: Resumption,
    watch: RunWatch | None = None,
    *,
    probing: bool = False,
) -> StationFault | None:
    """Walk what is left of a ladder and record how it ended; a station fault that stopped it is returned.

    With `probing` the readings that tell the remaining candidates apart follow, named in the journal before they begin.
    """
    provisional = judge_of(setup, waveforms=probing)
    try:
        walk = Walk(opened.bench, plan_of(setup), opened.recorder(recorder), first_index=todo.first_index)
        if watch is not None:
            watch.before(walk, recorder)
        if todo.before:
            walk.recheck(todo.before)
        with progress_bar(todo.left) as tick:

            def progress(done: int, reading: Reading) -> None:
                tick(done, reading, provisional.take(reading))
                if watch is not None:
                    watch.seen(reading)

            walk.portion(todo.left, progress=progress)
        asked = probe.asked_of(setup, provisional.result()) if probing else ""
        if asked:
            recorder.note(probe.KIND, asked)
            walk.portion(probe.rungs_of(setup, asked), progress=lambda done, reading: None)
        if watch is not None:
            walk.anchor()
            watch.after(recorder)
    except StationFault as fault:
        recorder.finish("stopped", f"station fault {fault.fault}")
        return fault
    except BaseException as first:
        # A store that is full cannot take the end either: the error that stopped the run is the one to be told.
        with contextlib.suppress(StoreError):
            recorder.finish("interrupted" if isinstance(first, KeyboardInterrupt) else "stopped", _words(first))
        raise
    recorder.finish("finished")
    return None


def _words(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}".rstrip(": ")


def judged(
    store: Store, run_id: str, *, limits_path: str = "", anew: bool = False
) -> tuple[RunHeader, RunResult]:
    """A run decided from its record, with its own limits or others; no bench is touched.

    What its readings came to is kept where the run is long; `anew` measures them again all the same.
    """
    header = store.header(run_id)
    events = store.events(run_id)
    setup = probe.with_probe(setup_of_run(header, limits_path=limits_path), events)
    judge = judge_of(setup)
    kept = KeptFacts.of(store.mark(run_id), header, setup)
    with collector_paused():
        known = None if anew else kept.read()
        if known is not None:
            judge.recall(known)
        else:
            for reading in store.readings(run_id):
                judge.add(reading)
        result = judge.result(events)
        if known is None:
            kept.write(judge.remember())
    if limits_path:
        replaced = tuple(file for file in setup.files if file.role == "limits")
        others = tuple(file for file in header.files if file.role != "limits")
        header = dataclasses.replace(header, files=others + replaced)
    return header, result


def write_report(store: Store, header: RunHeader, result: RunResult, folder: Path) -> Path:
    """The run's page; its path."""
    path = folder / f"{safe_name(header.unit)}-{header.run_id}.html"
    write_file(path, report.html(header, result, store.events(header.run_id), detail_of(store, header, result)))
    return path


def safe_name(unit: str) -> str:
    """A serial number as a part of a file's name."""
    return "".join(c if c.isalnum() or c in "-_" else "_" for c in unit)[:40] or "unit"


def verdict_line(header: RunHeader, result: RunResult) -> str:
    """The run in one line for a person."""
    counts = ", ".join(f"{count} {outcome}" for outcome, count in result.counts if count)
    steps = sum(step.outcome is Outcome.FAIL for step in result.steps)
    return f"{result.verdict}  unit {header.unit}: settings {counts}; failing steps {steps}"
