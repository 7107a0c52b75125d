"""The watchdog's process: `python -m harness.drivers.watchdog_child`, orders on standard input, one JSON line."""

from __future__ import annotations

import json
import os
import select
import signal
import sys
import time

from harness.drivers.visa_manager import backend_of, resource_manager
from harness.drivers.watchdog import READY, SAFE, switch_off
from harness.errors import BenchError

TRY_FOR_S = 12.0
"""How long a source that does not answer is tried."""
PAUSE_S = 0.2
LOOK_S = 0.25
"""How often the parent's life is looked at: its pipe may be kept open by a process that inherited it."""


def main() -> int:
    """Wait for the parent's end; 0 when the source is off or the parent said so, 3 when it could not be reached."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    parent = os.getppid()
    line = sys.stdin.buffer.readline()
    if not line:  # the parent died before it said what to watch, so before the source was opened
        return 0
    orders = json.loads(line)
    resource_manager(backend_of(orders["address"]))  # imports the library now: there is no time for it later
    sys.stdout.buffer.write(READY)
    sys.stdout.buffer.flush()
    if _parent_said_safe(parent):
        return 0
    return _switch_off(orders)


def _parent_said_safe(parent: int) -> bool:
    heard = b""
    while os.getppid() == parent:
        if not select.select([0], [], [], LOOK_S)[0]:
            continue
        said = os.read(0, 4096)
        if not said:
            break
        heard += said
        if SAFE in heard:
            return True
    return SAFE in heard


def _switch_off(orders: dict[str, object]) -> int:
    until_s = time.monotonic() + TRY_FOR_S
    while True:
        try:
            switch_off(orders)
        except BenchError as error:
            if time.monotonic() >= until_s:
                sys.stderr.write(f"watchdog: {orders['name']} may still be on; switch it off by hand: {error}\n")
                return 3
            time.sleep(PAUSE_S)
        else:
            return 0


if __name__ == "__main__":
    sys.exit(main())
