"""Many kills, then the reckoning."""

from __future__ import annotations

import contextlib
import os
import random
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from harness.app.run import judged
from harness.store import Store, open_store
from harness.values import Outcome, Purpose
from tests.app.served_bench import job, served
from tests.crash.links import in_folder
from tests.crash.night import OFF_WITHIN_S, Night
from tests.postgres_server import PostgresServer

LADDER = '[ladder]\nchannels = [1]\ncoarse = ["5V", "20mV"]\nfine = [0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20]\n'
KINDS = ("sweep", "sweep", "forward", "in-process", "report", "sweep", "in-process", "forward", "backup", "report")


@dataclass(frozen=True)
class Reckoning:
    """What a campaign found."""

    kills: dict[str, int]
    link_faults: int
    link_nights: int
    runs: int
    readings: int
    announced: int
    longest_on_s: float
    faults: dict[str, int]
    """All of them are to be 0."""
    details: tuple[str, ...]


@contextlib.contextmanager
def a_night(folder: Path, server: PostgresServer | None, seed: int) -> Iterator[Night]:
    """A bench on the wire, and a server, or a second file where there is none."""
    if server is None:
        target = str(folder / "server.sqlite")
    else:
        schema = f"night_{seed}"
        server.sql(f"DROP SCHEMA IF EXISTS {schema} CASCADE", f"CREATE SCHEMA {schema}")
        target = server.url(schema)
    with served(folder) as (addresses, bench):
        yield Night(folder, job(folder, LADDER), bench, addresses["source"], target, server, seed)


def campaign(
    night: Night, kills: int, seed: int, tell: Callable[[str], None], kinds: tuple[str, ...] = KINDS, links: int = 0
) -> Reckoning:
    """Nights with faults of links, then kills until there were as many deaths; now and then without a server."""
    dice = random.Random(seed)
    if links:
        with open(os.devnull, "w") as nobody, contextlib.redirect_stderr(nobody):
            night.seen.links = in_folder(night.folder, links, seed)
        tell(f"{night.seen.links.faults} faults of links in {night.seen.links.nights} nights")
    rounds = 0
    while (dead := sum(night.seen.kills.values())) < kills and rounds < 3 * kills + 10:
        order = kinds[rounds % len(kinds)] if rounds < len(kinds) else dice.choice(kinds)
        if rounds % 10 == 4:
            night.stop_server()
        night.kill(order)
        if rounds % 10 == 6:
            night.start_server()
        rounds += 1
        if rounds % 10 == 0:
            tell(f"{dead} of {kills} kills: {dict(night.seen.kills)}")
    if (rounds - 1) % 10 in (4, 5):
        night.start_server()
    night.end()
    return reckon(night)


def reckon(night: Night) -> Reckoning:
    """Hold the journal, the server and what was announced against each other."""
    seen, links = night.seen, night.seen.links
    announced = seen.announced | links.announced
    with open_store(str(night.store), read_only=True) as ours, open_store(night.target, read_only=True) as theirs:
        here, there = _rows(ours), _rows(theirs)
        stores = [*ours.check().faults, *theirs.check().faults]
        details = [*seen.refusals, *seen.half_files, *links.unfinished, *stores]
        wrong, twice, unjudged = _judged(ours)
        runs = len(ours.runs())
        events = [sum(len(store.events(info.header.run_id)) for info in store.runs()) for store in (ours, theirs)]
    faults = {
        "readings announced and lost": len(announced - here.keys()),
        "wrong readings recorded as good": wrong + len(links.wrong),
        "duplicates": twice + sum(max(0, count - here[key]) for key, count in there.items()),
        f"source on for more than {OFF_WITHIN_S:g} s after a death": seen.source_left_on,
        "source on at the end of a night and nobody told": len(links.left_on),
        "readings not forwarded or forwarded otherwise": sum((here - there).values()),
        "lines of journal lost or doubled on the way": abs(events[0] - events[1]),
        "faults of stores, half files, refusals, nights without an end": len(details),
        "runs on the wire that did not come to their end": unjudged,
    }
    return Reckoning(
        kills=dict(seen.kills), link_faults=links.faults, link_nights=links.nights, runs=runs,
        readings=sum(here.values()), announced=len(announced), longest_on_s=seen.longest_on_s, faults=faults,
        details=(*links.wrong, *links.left_on, *details),
    )  # fmt: skip


def _rows(store: Store) -> Counter[tuple[str, int]]:
    runs = [info.header.run_id for info in store.runs()]
    return Counter((run, one.index) for run in runs for one in store.readings(run))


def _judged(store: Store) -> tuple[int, int, int]:
    """The unit is good, so a setting that fails was measured wrong; settings that count twice; runs without an end."""
    wrong = twice = without_end = 0
    for info in store.runs():
        run = info.header.run_id
        if info.readings:
            _, result = judged(store, run)
            wrong += dict(result.counts).get(Outcome.FAIL, 0)
        # One that had no working bench is taken again, and that one counts.
        final = Counter(
            (one.setting, one.direction)
            for one in store.readings(run)
            if one.final and one.purpose is Purpose.LADDER and not one.bench_gone
        )
        twice += sum(count - 1 for count in final.values())
        if info.header.unit == "A1":
            without_end += info.end != "finished" or len(final) != info.header.planned
    return wrong, twice, without_end
