"""The watchdog's process: `python -m harness.drivers.watchdog_child`, orders on standard input, one JSON line."""

from __future__ import annotations

import json
import os
import select
import signal
import sys
import time

from harness.drivers.visa_manager import backend_of, resource_manager
from harness.drivers.watchdog import BEAT, READY, REST, SAFE, switch_off
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
    return 0 if _parent_said_safe(parent, orders) else _switch_off(orders)


def _parent_said_safe(parent: int, orders: dict[str, object]) -> bool:
    """Listen until the parent says so, or dies; a parent that hangs is made safe, and told to end."""
    heard = b""
    alive = Alive(float(str(orders["hang_s"])))
    while os.getppid() == parent:
        if alive.is_overdue(time.monotonic()):
            alive.rest()
            _switch_off(orders)
            sys.stderr.write(
                f"watchdog: no sign of life from the sweep for {alive.hang_s:g} s: {orders['name']} was switched off "
                "and the sweep told to end; go on with `gainladder resume`\n"
            )
            sys.stderr.flush()
            os.kill(parent, signal.SIGTERM)
        if not select.select([0], [], [], min(LOOK_S, alive.hang_s))[0]:
            continue
        said = os.read(0, 4096)
        if not said:
            return False
        *words, heard = (heard + said).split(b"\n")
        for word in words:
            if word == SAFE:
                return True
            alive.heard(word, time.monotonic())
    return False


class Alive:
    """When the last sign of life came, and whether one is due."""

    def __init__(self, hang_s: float) -> None:
        self.hang_s = hang_s
        self._last_s: float | None = None

    def heard(self, word: bytes, now_s: float) -> None:
        """A beat starts the time anew, a rest stops it."""
        if word == BEAT:
            self._last_s = now_s
        elif word == REST:
            self.rest()

    def rest(self) -> None:
        """Nothing is due until the next beat."""
        self._last_s = None

    def is_overdue(self, now_s: float) -> bool:
        """Whether a sign of life has stayed away for too long."""
        return self._last_s is not None and now_s - self._last_s > self.hang_s


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
