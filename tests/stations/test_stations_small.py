"""Three stations, each a thread with a store of its own, forward to one server that dies and comes back."""

from __future__ import annotations

import queue
import threading

from tests.stations.plant import Reckoning, a_day, reckon, schema_of
from tests.stations.station import work

NAMES = ["s0", "s1", "s2"]
RUNS, READINGS = 2, 15


def test_nothing_is_lost_or_doubled_and_what_waits_is_known(postgres_server, tmp_path, monkeypatch):
    monkeypatch.setattr("harness.app.forwarding.FIRST_PAUSE_S", 0.01)
    monkeypatch.setattr("harness.app.forwarding.LAST_PAUSE_S", 0.05)
    url = schema_of(postgres_server, "plant")

    def launch(name):
        said = queue.Queue()

        def station():
            try:
                work(tmp_path, url, name, RUNS, READINGS, said.put)
            finally:
                said.put(None)

        threading.Thread(target=station).start()
        yield from iter(said.get, None)

    planned = len(NAMES) * RUNS * READINGS
    found = a_day(postgres_server, tmp_path, url, NAMES, launch, planned)
    assert +found.faults == {}, found.lines()
    assert found.announced == found.at_server == planned
    assert all(found.waiting_while_away[name] > 0 for name in NAMES), found.lines()
    # What it is there to see, it sees.
    schema = url.rpartition("%3D")[2]
    postgres_server.sql(
        f"DELETE FROM {schema}.readings WHERE run = 1 AND reading = 0",
        f"UPDATE {schema}.events SET own_hash = 'x' WHERE number = 1",
    )
    spoiled = Reckoning()
    reckon(postgres_server, tmp_path, url, NAMES, ["s0-000 0", "s0-000 1"], spoiled)
    assert spoiled.faults["reading: lost on the way"] == 1
    assert spoiled.faults["line of a journal: doubled or strange"] == 1
    assert spoiled.faults["faults that the check of the server's store names"] >= 2
