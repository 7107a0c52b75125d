"""The line engineer's morning: a shift out of the store, and where stations and units stand now."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Collection, Iterator

from harness.app import forwarding
from harness.app.actions import actions_of
from harness.app.certificates import certificates_of
from harness.app.export.queue import waiting as exports_waiting
from harness.app.golden.looks import looks
from harness.app.setup import setup_of_run
from harness.app.told import Told, facts_of
from harness.errors import UsageError
from harness.judge.lockout import LOCKS, active_locks, retest_of
from harness.lot.analyse import Asked, analyse
from harness.lot.stored import StoredLot
from harness.store import Clock, Store, noted, targets, waiting_for
from harness.values import (
    ATTEMPT,
    GOLDEN_CHECK,
    STATION_CHECK,
    HeldUnit,
    LotResult,
    Morning,
    MorningAction,
    MorningStation,
    attempt_of,
    golden_of,
    station_check_of,
)

DAYS_BEFORE = 30
DUE_DAYS = 30
GOLDEN_SHOWN = 20
MOST_ACTIONS = 40


def morning(store: Store, *, job: str, hours: float, takt_s: float | None, clock: Clock) -> Morning:
    """The shift that ends now, of one job.

    Raises:
        UsageError: the store holds no run that could be of a shift.
    """
    lot = StoredLot(store)
    heads = [head for head in lot.heads() if not head.night]
    if not heads:
        raise UsageError("lot --morning: no run is recorded there; sweep a unit first, or name another store")
    name = job or heads[-1].job
    end = dt.datetime.fromisoformat(clock.utc())
    begin = end - dt.timedelta(hours=hours)
    first = begin - dt.timedelta(days=DAYS_BEFORE)
    shift = _analysed(lot, Asked(job=name, since=begin.isoformat(), until=end.isoformat(), takt_s=takt_s))
    before = _analysed(lot, Asked(job=name, since=first.isoformat(), until=begin.isoformat(), takt_s=takt_s))
    own = {head.run_id for head in heads if head.job == name}
    periods = (begin, end), (first, begin)
    software = [Counter(lot.software(since.isoformat(), until.isoformat())) for since, until in periods]
    return Morning(
        job=name, begin_utc=begin.isoformat(), end_utc=end.isoformat(), shift=shift, before=before,
        stations=tuple(_stations(store, clock)), held=tuple(_held(store, own)),
        waiting=tuple(_waiting(store)),
        actions=tuple(
            MorningAction(at_utc=done.at_utc, kind=done.kind, who=done.who, about=done.about, text=done.text)
            for done in actions_of(store)
            if done.at_utc >= begin.isoformat()
        )[-MOST_ACTIONS:],
        software=tuple(software[0].most_common()), new=tuple(_new(shift, before, software)),
    )  # fmt: skip


def _analysed(lot: StoredLot, asked: Asked) -> LotResult | None:
    try:
        return analyse(lot, asked, summarise=None).result
    except UsageError:
        return None


def _new(shift: LotResult | None, before: LotResult | None, software: list[Counter[str]]) -> Iterator[str]:
    if shift is None or before is None:
        return
    yield from (f"software {version}" for version in software[0] if version not in software[1])
    known = dict(before.versions)
    yield from (f"limits {sha256[:12]}" for sha256, _ in shift.versions if sha256 not in known)


def _stations(store: Store, clock: Clock) -> Iterator[MorningStation]:
    last: dict[str, str] = {}
    checks = {}
    for run_id, event in noted(store, ATTEMPT, GOLDEN_CHECK, STATION_CHECK):
        attempt = attempt_of((event,))
        golden = golden_of(run_id, event) if event.kind == GOLDEN_CHECK else None
        check = station_check_of(event) if event.kind == STATION_CHECK else None
        if check is not None:
            checks[check.station] = check, event.at_utc
        told = next((one.station for one in (attempt, golden, check) if one is not None), "")
        if told:
            last[told] = run_id
    golden_looks = looks(store)
    now = dt.datetime.fromisoformat(clock.utc())
    for name, run_id in sorted(last.items()):
        header = store.header(run_id)
        setup = setup_of_run(header)
        rules, about = setup.job.production, Told(store, setup)
        held = active_locks(facts_of(store, setup, rules, about, (), clock, golden=False)) if rules else ()
        look, look_utc = checks.get(name, (None, ""))
        days = [
            (certificate, (dt.date.fromisoformat(certificate.valid_until) - now.date()).days)
            for certificate in certificates_of(setup.bench.file)
            if certificate.valid_until
        ]
        yield MorningStation(
            name=name, locks=tuple(str(active) for active in held), last_utc=header.started_utc,
            golden=tuple(one for one in golden_looks if one.station == name)[-GOLDEN_SHOWN:],
            look=look, look_utc=look_utc, due=tuple(row for row in days if row[1] <= DUE_DAYS),
            fixture_runs=about.fixture_runs(), fixture_cycles=rules.fixture_cycles if rules else None,
        )  # fmt: skip


def _held(store: Store, run_ids: Collection[str]) -> Iterator[HeldUnit]:
    """Units of these runs that the next run would refuse; a run of the file knows the name that its job has."""
    newest: dict[tuple[str, str], tuple[str, str, int]] = {}
    for run_id, event in noted(store, ATTEMPT):
        attempt = attempt_of((event,))
        if attempt is not None and run_id in run_ids:
            newest[attempt.job, attempt.unit] = run_id, event.at_utc, attempt.most
    for job in dict.fromkeys(job for job, _ in newest):
        run_id = next(newest[key][0] for key in reversed(newest) if key[0] == job)
        told = Told(store, setup_of_run(store.header(run_id)))
        for unit, outcomes in told.by_unit(job).items():
            _, began_utc, most = newest.get((job, unit), ("", "", 0))
            retest = retest_of(outcomes, attempts=most)
            code = "quarantine" if retest.used_up else "retest-again" if retest.again else ""
            if code and began_utc:
                yield HeldUnit(unit=unit, runs=len(outcomes), why=LOCKS[code].text, since_utc=began_utc)


def _waiting(store: Store) -> Iterator[str]:
    for target in targets(store):
        rest = waiting_for(store, target)
        if rest.runs:
            yield f"{target}: {forwarding.words(rest)}"
    exports = exports_waiting(store)
    if exports:
        yield f"results of {len(exports)} runs are not handed on: gainladder export"
