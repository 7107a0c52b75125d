"""The watchdog: a small process that switches the source off when this one dies without saying so."""

from __future__ import annotations

import contextlib
import json
import os
import select
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType

import harness
from harness.config import InstrumentFile, InstrumentSlot, parse
from harness.drivers.profile import Commands
from harness.errors import BenchError, OpenFailed

READY = b"ready\n"
SAFE, BEAT, REST = b"safe", b"beat", b"rest"
"""Words that the child hears, a line each."""
BEAT_EVERY_S = 1.0
"""A sign of life need not be sent more often."""
HANG_S = 120.0
"""A sweep that gives no sign of life for so long hangs: longer than all tries to mend a link, power and all."""
START_S = 30.0
"""Longest wait for the child to import its libraries; usually below a second."""
END_S = 20.0
"""Longest wait for the child's end; longer than it tries."""


class Watchdog:
    """Watches from `__enter__` on; inside, say `safe()` once the source is known to be off. It is a `Heartbeat` too.

    The child holds the reading end of a pipe. When the pipe closes without the word, it opens the source by a link of
    its own, sends output off and reads it back. Leaving the block without `safe()`, by an error or not, is such a case.
    When signs of life stay away after a `beat()` and no `rest()` was said, it does the same, and then tells this
    process to end (SIGTERM): no reading may be taken with the source off that was meant to be on.
    It does not take the source's lock, and needs an instrument that allows a second connection or drops a dead one's.
    """

    def __init__(self, slot: InstrumentSlot, profile: InstrumentFile | str, *, hang_s: float = HANG_S) -> None:
        """Take the source's slot, its instrument file, parsed or as text, and how long no sign of life is borne."""
        if isinstance(profile, str):
            profile = parse(InstrumentFile, profile, file=slot.profile)
        commands = Commands(profile)
        self._orders = {
            "name": profile.name,
            "address": slot.address,
            "timeout_s": slot.timeout_s,
            "termination": slot.termination,
            "output_off": commands.messages("output_off"),
            "output_query": commands.question("output_query"),
            "hang_s": hang_s,
        }
        self._address = slot.address
        self._child: subprocess.Popen[bytes] | None = None
        self._beat_s: float | None = None

    def __enter__(self) -> Watchdog:
        """Start the child; returns once it has imported its libraries and stands ready."""
        home = str(Path(harness.__file__).resolve().parent.parent)
        paths = [home, *filter(None, [os.environ.get("PYTHONPATH")])]
        # A session of its own: Ctrl-C at the terminal goes to the whole process group and must not reach the child.
        self._child = subprocess.Popen(
            [sys.executable, "-m", "harness.drivers.watchdog_child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        )
        try:
            self._say(json.dumps(self._orders).encode())
            self._await_ready()
        except BaseException:
            self._child.kill()
            self._reap()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._reap()

    @property
    def pid(self) -> int:
        """The child's process id."""
        return self._child.pid if self._child is not None else 0

    def safe(self) -> None:
        """All ended well and the source is off: the child ends without touching it."""
        self._say(SAFE)

    def beat(self) -> None:
        """A sign of life; the next one must come in time, or a rest."""
        now_s = time.monotonic()
        if self._beat_s is None or now_s - self._beat_s >= BEAT_EVERY_S:
            self._beat_s = now_s
            self._say(BEAT)

    def rest(self) -> None:
        """The source is off: no sign of life is due until the next beat."""
        self._beat_s = None
        self._say(REST)

    def _say(self, word: bytes) -> None:
        """Tell the child; one that has died hears nothing."""
        if self._child is not None and self._child.stdin is not None:
            with contextlib.suppress(OSError):
                self._child.stdin.write(word + b"\n")
                self._child.stdin.flush()

    def _await_ready(self) -> None:
        stdout = self._child.stdout if self._child is not None else None
        line = b""
        if stdout is not None and select.select([stdout], [], [], START_S)[0]:
            line = stdout.readline()
        if line != READY:
            raise OpenFailed(
                f"the watchdog process did not start (it said {line!r}); no run without it, see the words above",
                instrument="watchdog",
                address=self._address,
            )

    def _reap(self) -> None:
        child, self._child = self._child, None
        if child is None:
            return
        with contextlib.suppress(OSError):
            if child.stdin is not None:
                child.stdin.close()
        try:
            child.wait(timeout=END_S)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()
        if child.stdout is not None:
            child.stdout.close()


def switch_off(orders: dict[str, object]) -> str:
    """Open the source, send output off, read it back; the answer as text.

    Raises:
        BenchError: it could not be reached, or says that its output is on.
    """
    from harness.drivers.visa_link import VisaLink

    address, termination = str(orders["address"]), str(orders["termination"])
    timeout_s = min(float(str(orders["timeout_s"])), 1.0)
    messages = orders["output_off"]
    link = VisaLink(address, timeout_s=timeout_s)
    try:
        for message in messages if isinstance(messages, list | tuple) else ():
            link.write(f"{message}{termination}".encode())
        link.write(f"{orders['output_query']}{termination}".encode())
        state = link.read_line().decode("ascii", "replace").strip()
    finally:
        link.close()
    if state.upper() not in ("0", "+0", "OFF"):
        raise BenchError(f"the output reads back {state!r} after output off", address=address)
    return state
