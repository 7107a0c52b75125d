"""What the page does to the processes of its bench: start, let go, stop, look at."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import harness
from harness.config import LineFile
from harness.drivers import resource_is_held
from harness.errors import StoreError
from harness.line.events import Admitted, Begun, Ended, Event, Locked, Lost, Prepare, Progress, Refused
from harness.line.folder import Place
from harness.line.paths import Paths
from harness.line.state import HeldLock, Kind, Screen, State, Verdict
from harness.store import open_store

END_LOOK_S = 0.05
KILL_S = 15.0
"""A process that was told to stop and is still there is killed; the watchdog of its source switches it off then."""


@dataclass(kw_only=True)
class Hands:
    """All that is done outside; no state of the page is kept here."""

    line: LineFile
    line_path: str
    line_text: str
    place: Place
    paths: Paths
    store: str = ""
    reports: str = ""
    seed: int | None = None
    faults_of: Callable[[str], Sequence[str]] = lambda unit: ()
    """Faults that a simulated bench shall have with a unit."""
    now_s: Callable[[], float] = time.monotonic
    _child: subprocess.Popen[bytes] | None = None
    _child_ticket: int = 0
    _told_s: dict[int, float] = field(default_factory=dict)
    """When a try was told to stop."""

    def prepare(self, effect: Prepare) -> None:
        """Start the process of a try; it waits before it touches an instrument."""
        one = self.place.try_of(effect.ticket)
        self.place.withdraw_all_but(effect.ticket)
        one.order(self.content(effect))
        home = str(Path(harness.__file__).resolve().parent.parent)
        path = os.pathsep.join([home, *filter(None, [os.environ.get("PYTHONPATH")])])
        # A session of its own: Ctrl-C at the terminal reaches the page alone, which then stops it in order.
        with one.said.open("wb") as said:
            self._child = subprocess.Popen(
                [sys.executable, "-m", "harness.line.bench_process", str(one.path.absolute())],
                stdin=subprocess.DEVNULL, stdout=said, stderr=said, start_new_session=True,
                env={**os.environ, "PYTHONPATH": path},
            )  # fmt: skip
        self._child_ticket = effect.ticket

    def content(self, effect: Prepare) -> dict[str, Any]:
        """What the process of a try is told: all of it, so that a file changed meanwhile changes nothing."""
        return {
            "line": self.line_path, "line_text": self.line_text, "store": self.store, "reports": self.reports,
            "unit": effect.unit, "operator": effect.operator, "golden": effect.golden, "seed": self.seed,
            "faults": list(self.faults_of(effect.unit)),
        }  # fmt: skip

    def go(self, ticket: int) -> None:
        """Let it open the bench."""
        self.place.try_of(ticket).go()

    def stop(self, ticket: int) -> None:
        """Tell it to end with the source off; told again it is not told again."""
        if ticket not in self._told_s:
            self._told_s[ticket] = self.now_s()
            self._signal(ticket, signal.SIGTERM)

    def dismiss(self, ticket: int) -> None:
        """It is not wanted any more; one that still waits ends."""
        one = self.place.try_of(ticket)
        if one.wanted:
            one.withdraw()
            self._signal(ticket, signal.SIGTERM)

    def lives(self, ticket: int) -> bool:
        """Whether the process of a try is there, whoever has started it."""
        if self._child is not None and self._child_ticket == ticket:
            return self._child.poll() is None
        return resource_is_held(self.place.try_of(ticket).lock)

    def _signal(self, ticket: int, number: int) -> None:
        if self._child is not None and self._child_ticket == ticket:
            self._child.send_signal(number)
            return
        pid = self.place.try_of(ticket).told().get("pid")
        # Whoever holds the lock of the try is the process that wrote its number there: no stranger is hit.
        if isinstance(pid, int) and self.lives(ticket):
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, number)

    def look(self, state: State) -> Iterator[Event]:
        """What the process of the present try has to say that the page does not know yet."""
        ticket = state.ticket
        if ticket == 0 or state.screen not in _AT_WORK:
            return
        # Asked first: one that ends in between has said its last word when it is read.
        lives = self.lives(ticket)
        told = self.place.try_of(ticket).told()
        yield from _events(state, told)
        if state.screen is Screen.RUN and told.get("phase") == "begun":
            yield self._progress(state, told)
        if not lives and told.get("phase") not in LAST_WORDS:
            yield Lost(ticket)
        told_s = self._told_s.get(ticket)
        if lives and told_s is not None and self.now_s() - told_s > KILL_S:
            self._signal(ticket, signal.SIGKILL)

    def _progress(self, state: State, told: Mapping[str, Any]) -> Progress:
        try:
            with open_store(self.paths.store, read_only=True) as store:
                done = store.info(state.run_id).readings
        except StoreError:
            # Busy or away for a moment: the bench's process has a connection of its own, and says so if it has not.
            return Progress(state.ticket, state.done, state.left_s)
        passed_s = max(time.time() - float(told.get("at_s", 0.0)), 0.0)
        return Progress(state.ticket, done, passed_s * max(state.planned - done, 0) / done if done else None)

    def terminate(self, ticket: int) -> None:
        """Tell the process of a try to end; from a signal handler too."""
        if ticket and self.lives(ticket):
            self._signal(ticket, signal.SIGTERM)

    def end(self, ticket: int, wait_s: float = KILL_S) -> None:
        """The page closes: whatever is at work ends with the source off; killed when it does not."""
        self.terminate(ticket)
        since_s = self.now_s()
        while ticket and self.lives(ticket):
            if self.now_s() - since_s > wait_s:
                self._signal(ticket, signal.SIGKILL)
                return
            time.sleep(END_LOOK_S)


LAST_WORDS = frozenset({"refused", "locked", "ended", "stopped"})
_AT_WORK = frozenset({Screen.PREPARE, Screen.CONNECT, Screen.CHECK, Screen.RUN, Screen.STOPPING})


def _events(state: State, told: Mapping[str, Any]) -> Iterator[Event]:
    ticket, phase = state.ticket, told.get("phase")
    if phase == "admitted" and state.screen is Screen.PREPARE:
        yield Admitted(ticket)
    elif phase == "locked":
        yield Locked(ticket, tuple(HeldLock(**lock) for lock in told["locks"]))
    elif phase == "refused":
        yield Refused(ticket, str(told["why"]), str(told["detail"]))
    elif phase == "stopped":
        yield Ended(ticket, Verdict(kind=Kind.STOPPED))
    elif phase in ("begun", "ended") and told.get("run_id") and state.run_id != told["run_id"]:
        if state.screen is Screen.PREPARE:
            yield Admitted(ticket)
        yield Begun(ticket, str(told["run_id"]), int(told.get("planned", 0)))
    if phase == "ended":
        yield Ended(ticket, verdict_of(told))


def verdict_of(told: Mapping[str, Any]) -> Verdict:
    """The verdict in the last word of a process."""
    return Verdict(
        kind=Kind(told["kind"]), item=str(told.get("item", "")), where=str(told.get("where", "")),
        attempt=int(told.get("attempt", 0)), most=int(told.get("most", 0)), detail=str(told.get("detail", "")),
        took_s=told.get("took_s"),
    )  # fmt: skip
