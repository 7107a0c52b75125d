"""Stations of a plant: `python -m tests.stations [--stations N] [--runs N] [--readings N]`.

So many processes record into files of their own and forward to one PostgreSQL server at once. After a third of the
readings the server dies without a word, after two thirds it is started again. Then all hashes of both sides are held
against each other by the bare drivers. Exit code 1 when anything was lost, doubled or changed, or a station did not
say what waits.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.postgres_server import PostgresServer, missing
from tests.stations.plant import a_day, schema_of


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.stations", description=__doc__)
    parser.add_argument("--stations", type=int, default=8)
    parser.add_argument("--runs", type=int, default=6)
    parser.add_argument("--readings", type=int, default=100, help="of each run")
    wanted = parser.parse_args(arguments)
    if missing():
        print(f"not done: {missing()}")
        return 0
    names = [f"s{number}" for number in range(wanted.stations)]
    server, start_s = PostgresServer(connections=5 * wanted.stations), time.monotonic()
    try:
        server.start()
        url = schema_of(server, "plant")
        with tempfile.TemporaryDirectory() as place:

            def launch(name: str) -> Iterator[str]:
                words = ["-m", "tests.stations.station", place, url, name, str(wanted.runs), str(wanted.readings)]
                with subprocess.Popen([sys.executable, *words], stdout=subprocess.PIPE, text=True) as process:
                    yield from (line.strip() for line in process.stdout or ())

            planned = wanted.stations * wanted.runs * wanted.readings
            found = a_day(server, Path(place), url, names, launch, planned)
    finally:
        server.remove()
    print("\n".join(found.lines()))
    print(f"{wanted.stations} stations, {time.monotonic() - start_s:.0f} s")
    silent = [name for name, count in found.waiting_while_away.items() if not count]
    if silent:
        print(f"said nothing of what waits: {', '.join(silent)}")
    return 1 if found.faults.total() or silent or found.announced != planned else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
