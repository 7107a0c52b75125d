"""The run behind an acceptance suite: bench and record are opened when first needed, ranges swept when asked for."""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from harness.app.bench_open import OpenBench, open_bench
from harness.app.options import login
from harness.app.production import Asked, Notes, admit, note_verdict
from harness.app.run import UNNAMED, RunRequest, judge_of, judged, new_header, plan_of
from harness.app.setup import Setup
from harness.app.signals import interruptible
from harness.app.suite.claim import Range, SuiteClaim, by_range
from harness.app.suite.ended import Ended
from harness.app.suite.judged import Part, Parts
from harness.app.suite.stored import StoredRun
from harness.drivers import RealClock
from harness.errors import GainladderError, StationFault, StoreError, UsageError
from harness.judge import RunJudge
from harness.store import RunRecorder, Store, open_store
from harness.sweep import Walk
from harness.values import Candidate, Reading, RunHeader


@dataclass(frozen=True, slots=True, kw_only=True)
class SuiteRequest:
    """What the session was asked for."""

    unit: str
    store_url: str
    seed: int | None = None
    faults: tuple[str, ...] = ()
    lifts: tuple[str, ...] = ()
    """As of `Asked`."""
    repaired: str = ""


class LiveRun:
    """One run of one unit, swept range by range.

    What stops the run, such as a bench that cannot be reached, is raised for every later question too: a second try
    would only hide it. Leave with `close`, which switches the source off.
    """

    def __init__(self, setup: Setup, request: SuiteRequest) -> None:
        self.setup = setup
        self.ladder: tuple[Range, ...] = by_range(rung.setting for rung in setup.rungs)
        self._request = request
        self._bench = contextlib.ExitStack()
        self._files = contextlib.ExitStack()
        self._opened: tuple[OpenBench, Store] | None = None
        self._record: _Record | None = None
        self._notes: Notes = ()
        self._swept: set[Range] = set()
        self._trouble: GainladderError | None = None
        self._end: tuple[str, str] | None = None

    def bench(self) -> OpenBench:
        """The open bench; whoever takes it may change it, so the sweep makes it ready anew before it goes on."""
        opened, _ = self._open()
        if self._record is not None:
            self._record.walk.forget()
        return opened

    def readings(self, ranges: Collection[Range]) -> tuple[Reading, ...]:
        """Every attempt in these ranges, swept now where it has not been yet."""
        record = self._sweep(ranges)
        stored = record.store.readings(record.header.run_id)
        return tuple(reading for reading in stored if (reading.setting.channel, reading.setting.coarse) in ranges)

    def part(self, ranges: Collection[Range]) -> Part:
        """What is decided about these ranges by themselves, swept now where they have not been yet."""
        return self._sweep(ranges).parts.of(ranges)

    def causes(self, channel: int | None) -> Sequence[Candidate]:
        """What may be wrong, from all that was swept of a channel so far, or of all for None."""
        known = [one for one in self.ladder if one in self._swept and channel in (None, one[0])]
        return self.part(known).result.candidates

    def close(self, shown: Mapping[SuiteClaim, str], wanted: Collection[Range]) -> Ended | None:
        """Source off, bench closed, record ended; then what the record says of what was swept. None without a record.

        `shown` are the claims whose tests have ended, and how; they are compared unless trouble has ended them all.
        """
        record = self._record
        with self._files, self._bench:
            if record is not None:
                # A store that is full cannot take the end either: the error that stopped the run was told already.
                with contextlib.suppress(StoreError):
                    record.recorder.finish(*(self._end or self._ending()))
            self._bench.close()
            if record is None:
                return None
            self._note_verdict(record)
            ended = StoredRun(record.store, record.header.run_id).ended({} if self._end else shown, wanted)
            # A range that broke off at once has no reading, and was asked for all the same.
            return replace(ended, swept=len(self._swept))

    def _open(self) -> tuple[OpenBench, Store]:
        if self._trouble is not None:
            raise self._trouble.with_traceback(None)
        if self._opened is None:
            try:
                self._opened = self._enter()
            except GainladderError as error:
                self._trouble = error
                raise
        return self._opened

    def _enter(self) -> tuple[OpenBench, Store]:
        setup, request = self.setup, self._request
        if not request.unit and setup.bench.file.simulation is None:
            raise UsageError("a real bench needs --unit SERIAL: a record without a serial number is worthless")
        store = self._files.enter_context(open_store(request.store_url))
        asked = Asked(operator=login(), lifts=request.lifts, repaired=request.repaired)
        self._notes = admit(store, setup, request.unit or UNNAMED, asked, RealClock())
        self._bench.enter_context(interruptible())
        opened = self._bench.enter_context(
            open_bench(
                setup.bench, setup.device,
                transport=setup.job.transport, seed=request.seed, faults=request.faults,
                unit=request.unit,
            )
        )  # fmt: skip
        return opened, store

    def _begin(self) -> _Record:
        opened, store = self._open()
        if self._record is None:
            request = RunRequest(
                unit=self._request.unit or UNNAMED, operator="pytest", faults=self._request.faults
            )
            header = new_header(self.setup, opened, request)
            recorder = store.begin(header, clock=opened.bench.clock)
            for kind, text in self._notes:
                recorder.note(kind, text)
            judge = judge_of(self.setup)
            tee = opened.recorder(_Tee(recorder, judge))
            settings = [setting for setting, _ in self.setup.planned()]
            self._record = _Record(
                store=store,
                recorder=recorder,
                header=header,
                walk=Walk(opened.bench, plan_of(self.setup), tee),
                parts=Parts(judge, settings, lambda: store.events(header.run_id)),
            )
        return self._record

    def _sweep(self, ranges: Collection[Range]) -> _Record:
        """Sweep what is missing, in order of the ladder."""
        record = self._begin()
        try:
            for one in [one for one in self.ladder if one in ranges and one not in self._swept]:
                rungs = [rung for rung in self.setup.every_rung if (rung.setting.channel, rung.setting.coarse) == one]
                self._swept.add(one)
                record.walk.portion(rungs, progress=lambda done, reading: None)
        except GainladderError as error:
            self._end = ("stopped", f"station fault {error.fault}" if isinstance(error, StationFault) else str(error))
            self._trouble = error
            raise
        except BaseException as error:
            self._end = ("interrupted" if isinstance(error, KeyboardInterrupt) else "stopped", type(error).__name__)
            raise
        return record

    def _note_verdict(self, record: _Record) -> None:
        """A counted run is decided as a whole: what was not asked for is missing, and missing settings pass nothing."""
        if self.setup.job.production is None:
            return
        run_id = record.header.run_id
        # Without the line a later look judges the run from its record.
        with contextlib.suppress(StoreError):
            note_verdict(record.store, run_id, judged(record.store, run_id)[1], RealClock())

    def _ending(self) -> tuple[str, str]:
        swept, planned = len(self._swept), len(self.ladder)
        return ("finished", "") if swept == planned else ("stopped", f"{swept} of {planned} ranges were asked for")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Record:
    """What exists from the first sweep on."""

    store: Store
    recorder: RunRecorder
    header: RunHeader
    walk: Walk
    parts: Parts


class _Tee:
    """The sweep's recorder: a reading is durable first, then it goes to the judge."""

    def __init__(self, recorder: RunRecorder, judge: RunJudge) -> None:
        self._recorder = recorder
        self._judge = judge

    def record(self, reading: Reading) -> None:
        self._recorder.record(reading)
        self._judge.add(reading)

    def note(self, kind: str, text: str) -> None:
        self._recorder.note(kind, text)
