"""Crash campaign: `python -m tests.crash [--kills N] [--links N] [--seed N]`.

Simulated nights with faults on their links; then sweeps on the wire and in process, half of them with forwarding beside
them, reports, forwarding and backups are killed (SIGKILL) at random moments, killed sweeps are resumed, the server is
stopped and started; then everything is held against what was announced. Exit code 1 when anything was lost, doubled,
wrong, or left on.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.crash.campaign import Reckoning, a_night, campaign
from tests.postgres_server import PostgresServer, missing


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.crash", description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--links", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args(arguments)
    server = None
    if missing():
        print(f"forwarding to a second file: {missing()}")
    else:
        server = PostgresServer()
    start_s = time.monotonic()
    try:
        if server is not None:
            server.start()
        with tempfile.TemporaryDirectory() as folder, a_night(Path(folder), server, wanted.seed) as night:
            found = campaign(
                night, wanted.kills, wanted.seed, lambda text: print(text, flush=True), links=wanted.links
            )
    finally:
        if server is not None:
            server.remove()
    show(found)
    print(f"{time.monotonic() - start_s:.0f} s")
    return 1 if any(found.faults.values()) else 0


def show(found: Reckoning) -> None:
    """The figures as a table."""
    print(f"kills {sum(found.kills.values())}: " + ", ".join(f"{kind} {count}" for kind, count in found.kills.items()))
    print(f"faults of links {found.link_faults} in {found.link_nights} nights")
    print(f"runs {found.runs}, readings {found.readings}, announced {found.announced}")
    print(f"longest time from a death to source off: {found.longest_on_s:.2f} s")
    for name, count in found.faults.items():
        print(f"{count:6}  {name}")
    for detail in found.details:
        print(f"        {detail}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
