"""A recorded run as the acceptance suite asks it: decided again, no bench."""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cached_property

from harness.app import probe
from harness.app.bench_open import OpenBench
from harness.app.collector import collector_paused
from harness.app.kept_facts import KeptFacts
from harness.app.run import judge_of
from harness.app.setup import Setup, setup_of_run
from harness.app.suite.claim import Range, SuiteClaim, by_range
from harness.app.suite.ended import Ended
from harness.app.suite.judged import Part, Parts
from harness.app.suite.rows import differences
from harness.errors import UsageError
from harness.judge import Remembered
from harness.store import Store, open_store
from harness.values import Candidate, Reading


class StoredRun:
    """Decides about a run from its record, or from what its readings came to when it was last judged."""

    def __init__(self, store: Store, run_id: str, *, setup: Setup | None = None) -> None:
        """Take the readings, or what is kept of them.

        Args:
            store: open.
            run_id: a run of it.
            setup: to decide by; every claim is decided on all that was read then. None takes the run's own and decides
                each claim on the ranges that it looks at, as a live session does, which has no more when it is asked.
        """
        self.header = store.header(run_id)
        self.setup: Setup = setup or _setup_of(store, run_id)
        self.ladder: tuple[Range, ...] = by_range(rung.setting for rung in self.setup.rungs)
        self._store = store
        self._as_one = setup is not None
        self._read: set[Range] = set()
        self._kept = KeptFacts.of(store.mark(run_id), self.header, self.setup) if self._as_one else KeptFacts(None)
        with collector_paused():
            known = self._kept.read()
            self._new = known is None
            self._whole = self._recalled(known) or self._by_part
        self.swept: tuple[Range, ...] = tuple(one for one in self.ladder if one in self._read)
        """The ranges that hold a reading."""

    def bench(self) -> OpenBench:
        """A record has none."""
        raise UsageError(
            f"run {self.header.run_id} is a record: a test that needs the bench cannot run on it; leave out --run"
        )

    def readings(self, ranges: Collection[Range]) -> tuple[Reading, ...]:
        """Every attempt in these ranges."""
        stored = self._store.readings(self.header.run_id)
        return tuple(reading for reading in stored if (reading.setting.channel, reading.setting.coarse) in ranges)

    def part(self, ranges: Collection[Range]) -> Part:
        """What is decided about these ranges, by themselves or among all that were read.

        A range that was not read is decided with those that it is asked with, so that it is missed only there.
        """
        if not self._as_one or not set(ranges) <= self._read:
            return self._by_part.of(ranges)
        with collector_paused():
            return self._whole.of(self.swept)

    def causes(self, channel: int | None) -> Sequence[Candidate]:
        """What may be wrong, from all that was read of a channel, or of all for None."""
        known = [one for one in self.swept if channel in (None, one[0])]
        return (self._whole if len(known) == len(self.swept) else self._by_part).of(known).result.candidates

    def ended(self, shown: Mapping[SuiteClaim, str], wanted: Collection[Range]) -> Ended:
        """What the record says of all that was swept, and of the rows that a session showed."""
        result = self._whole.of(self.swept).result
        if self._new:
            self._kept.write(self._judge.remember())
        return Ended(
            header=self.header,
            result=result,
            swept=len(self.swept),
            planned=len(self.ladder),
            differences=differences(shown, self, wanted),
        )

    def _recalled(self, known: Remembered | None) -> Parts | None:
        """Of what is kept of a run without a gap; anything less than the whole needs the readings."""
        gathered = {} if known is None else known.all_facts.gathered
        read = {(setting.channel, setting.coarse) for setting, item in gathered.items() if item.attempts}
        if known is None or not read >= set(self.ladder):
            return None
        self._read = read
        self._judge = judge_of(self.setup)
        self._judge.recall(known)
        return self._parts()

    @cached_property
    def _by_part(self) -> Parts:
        """Of the readings themselves."""
        self._judge = judge_of(self.setup)
        for reading in self._store.readings(self.header.run_id):
            self._judge.add(reading)
            self._read.add((reading.setting.channel, reading.setting.coarse))
        return self._parts()

    def _parts(self) -> Parts:
        settings = [setting for setting, _ in self.setup.planned()]
        return Parts(self._judge, settings, lambda: self._store.events(self.header.run_id))


@contextlib.contextmanager
def open_record(store_url: str, run: str, setup: Setup) -> Iterator[StoredRun]:
    """A run of a store (id, unique prefix or `last`), decided by a setup from `setup_of_record`."""
    with _opened(store_url, run) as store:
        yield StoredRun(store, store.resolve(run), setup=setup)


def setup_of_record(store_url: str, run: str, limits_path: str) -> Setup:
    """The setup of a recorded run, with its own limits or others, without a look at its readings."""
    with _opened(store_url, run) as store:
        return _setup_of(store, store.resolve(run), limits_path)


def _setup_of(store: Store, run_id: str, limits_path: str = "") -> Setup:
    return probe.with_probe(setup_of_run(store.header(run_id), limits_path=limits_path), store.events(run_id))


def _opened(store_url: str, run: str) -> Store:
    if not store_url:
        raise UsageError(f"--run {run} needs --store URL: where the run is recorded")
    return open_store(store_url, read_only=True)
