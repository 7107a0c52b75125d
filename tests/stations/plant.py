"""Several stations forward to one server, which is stopped and started meanwhile; then everything is counted."""

from __future__ import annotations

import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from harness.store import Forwarder, open_store, targets, waiting_for
from tests.postgres_server import PostgresServer

MOST_S = 300.0
Launch = Callable[[str], Iterator[str]]
"""Starts a station of a name; what it announces, until it has ended."""


@dataclass
class Reckoning:
    """What was found."""

    announced: int = 0
    at_server: int = 0
    waiting_while_away: dict[str, int] = field(default_factory=dict)
    """Readings by station, as each says them of itself while the server stands still."""
    waiting_in_the_end: int = 0
    """When all stations had ended, before what was left was sent."""
    faults: Counter[str] = field(default_factory=Counter)

    def lines(self) -> list[str]:
        away = ", ".join(f"{name} {count}" for name, count in sorted(self.waiting_while_away.items()))
        return [
            f"announced {self.announced}, at the server {self.at_server}",
            f"waiting while the server stood still: {away}",
            f"waiting when all stations had ended: {self.waiting_in_the_end}",
            *(f"{count:6}  {name}" for name, count in self.faults.items()),
        ]


def a_day(server: PostgresServer, folder: Path, url: str, names: list[str], launch: Launch, planned: int) -> Reckoning:
    """All stations at once; the server dies after a third of the readings and comes back after two thirds."""
    found = Reckoning()
    announced: list[str] = []

    def listen(name: str) -> None:
        for line in launch(name):
            announced.append(line)

    threads = [threading.Thread(target=listen, args=(name,), name=name) for name in names]
    for thread in threads:
        thread.start()
    try:
        _until(lambda: len(announced) >= planned // 3)
        server.stop()
        stopped_at = len(announced)
        # Each station goes on recording, and knows what waits.
        _until(lambda: len(announced) >= max(2 * planned // 3, stopped_at))
        for name in names:
            with open_store(str(folder / f"{name}.sqlite"), read_only=True) as store:
                (target,) = targets(store)
                found.waiting_while_away[name] = waiting_for(store, target).readings
    finally:
        server.start()
        for thread in threads:
            thread.join(MOST_S)
    found.announced = len(announced)
    _send_the_rest(folder, url, names, found)
    reckon(server, folder, url, names, announced, found)
    return found


def _send_the_rest(folder: Path, url: str, names: list[str], found: Reckoning) -> None:
    for name in names:
        with open_store(str(folder / f"{name}.sqlite")) as store, Forwarder(store, url) as forwarder:
            found.waiting_in_the_end += forwarder.waiting().readings
            forwarder.send()
            if forwarder.waiting().runs:
                found.faults["stations that say something waits although all was sent"] += 1


def reckon(
    server: PostgresServer, folder: Path, url: str, names: list[str], announced: list[str], found: Reckoning
) -> None:
    """By the bare driver: what each side holds, hash by hash."""
    import sqlite3

    schema = url.rpartition("%3D")[2]
    query = "SELECT r.run_id, {0}.{1}, {0}.own_hash FROM {2}{0} JOIN {2}runs r ON r.number = {0}.run"
    kinds = {"reading": ("readings", "reading"), "line of a journal": ("events", "previous_hash")}
    for kind, (table, key) in kinds.items():
        (rows,) = server.sql(query.format(table, key, f"{schema}."))
        there = Counter(rows)
        here: Counter[tuple[object, ...]] = Counter()
        for name in names:
            connection = sqlite3.connect(folder / f"{name}.sqlite")
            here.update(connection.execute(query.format(table, key, "")).fetchall())
            connection.close()
        found.faults[f"{kind}: lost on the way"] += (here - there).total()
        found.faults[f"{kind}: doubled or strange"] += (there - here).total()
        if kind == "reading":
            found.at_server = there.total()
            keys = {f"{run_id} {reading}" for run_id, reading, _ in there}
            found.faults["announced and lost"] += len(set(announced) - keys)
    with open_store(url, read_only=True) as store:
        found.faults["faults that the check of the server's store names"] += len(store.check().faults)


def _until(holds: Callable[[], bool]) -> None:
    end_s = time.monotonic() + MOST_S
    while not holds():
        if time.monotonic() > end_s:
            raise TimeoutError("the stations do not get on")
        time.sleep(0.01)


def schema_of(server: PostgresServer, name: str) -> str:
    """An empty schema; its address, once the server lets a store be made in it."""
    server.sql(f"DROP SCHEMA IF EXISTS {name} CASCADE", f"CREATE SCHEMA {name}")
    return server.url(name)

