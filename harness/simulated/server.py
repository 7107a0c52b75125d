"""Serves all instruments of a simulated bench on loopback: one process, one thread, one selector."""

from __future__ import annotations

import contextlib
import os
import selectors
from collections.abc import Callable
from functools import partial
from pathlib import Path

from harness.errors import UsageError
from harness.simulated.faults.link_fault import Line
from harness.simulated.front import Desk, Front, Port
from harness.simulated.front_hislip import HislipFront
from harness.simulated.front_stream import PtyFront, SocketFront
from harness.simulated.world import World

_LONGEST_WAIT_S = 0.05
"""How often `stop` is asked at least."""
_WAKING_S = 60e-6
"""What the system takes to wake a process that waits: an answer leaves when it is due, so the wait ends before."""
_SLACK = Path("/proc/self/timerslack_ns")
"""Linux lets waits end up to 50 µs late to save power; here each would be a latency that no file states."""
_FRONTS: dict[str, Callable[[Desk], Front]] = {
    "socket": lambda desk: SocketFront(desk, pattern="TCPIP::127.0.0.1::{port}::SOCKET"),
    "hislip": HislipFront,
    "pty": PtyFront,
    "tcp-serial": lambda desk: SocketFront(desk, pattern="socket://127.0.0.1:{port}"),
}
_MESSAGES, _SERIAL = ("socket", "hislip"), ("pty", "tcp-serial")
_SUITS = {
    "source": _MESSAGES, "device": _MESSAGES, "adapter": _SERIAL, "meter": _MESSAGES, "aggressor": _MESSAGES,
    "chamber": _MESSAGES, "supply": _MESSAGES, "probe": _MESSAGES,
}  # fmt: skip


def serve(
    world: World,
    *,
    announce: Callable[[dict[str, str]], None],
    stop: Callable[[], bool] | None = None,
    until_eof: int | None = None,
) -> None:
    """Answer on the wire until told to stop; the world's clock must be real time.

    Args:
        world: the bench.
        announce: gets the address of each role once all are open.
        stop: asked at least every 50 ms; None never stops.
        until_eof: file descriptor (such as 0, standard input) whose end stops the server as well.
    """
    for role in world.instruments:
        via = world.slot(role).via
        if via not in _SUITS[role]:
            raise UsageError(f"simulated bench: {role}.via: got {via!r}; allowed: {' or '.join(_SUITS[role])}")
    _Server(world, stop=stop, until_eof=until_eof).run(announce)


class _Server:
    def __init__(self, world: World, *, stop: Callable[[], bool] | None, until_eof: int | None) -> None:
        self._world = world
        self._stop = stop
        self._until_eof = until_eof
        self._ended = False
        # Epoll rounds a wait up to whole milliseconds, more than the latencies here.
        self._selector = selectors.SelectSelector()
        self._desks = {
            role: Desk(
                instrument,
                clock=world.clock,
                line=Line(role=role, instrument=instrument, timeout_s=world.slot(role).timeout_s),
                faults=world.link_faults(role),
            )
            for role, instrument in world.instruments.items()
        }
        self._ports: set[Port] = set()

    def run(self, announce: Callable[[dict[str, str]], None]) -> None:
        fronts: dict[str, Front] = {}
        with contextlib.suppress(OSError):  # another system, or one that does not allow it: the waits are longer
            _SLACK.write_text("1")
        try:
            for role, desk in self._desks.items():
                fronts[role] = _FRONTS[self._world.slot(role).via](desk)
            for front in fronts.values():
                for listener in front.listeners():
                    self._watch(listener.fileno(), partial(self._accept, listener.accept))
                for port in front.ports():
                    self._add(port)
            if self._until_eof is not None:
                self._watch(self._until_eof, self._read_end)
            announce({role: front.address for role, front in fronts.items()})
            while not self._ended and not (self._stop is not None and self._stop()):
                self._turn()
        finally:
            for port in tuple(self._ports):
                self._drop(port)
            for front in fronts.values():
                front.close()
            self._selector.close()

    def _turn(self) -> None:
        wait_s = self._work()
        self._arm_writers()
        for key, mask in self._selector.select(wait_s):
            key.data(mask)

    def _work(self) -> float:
        """Let every instrument do what it can; how long until the next has something to do, s."""
        now_s = self._world.clock.now_s()
        moments = [moment for desk in self._desks.values() if (moment := desk.work(now_s)) is not None]
        return max(0.0, min([_LONGEST_WAIT_S, *(moment - now_s - _WAKING_S for moment in moments)]))

    def _arm_writers(self) -> None:
        for port in tuple(self._ports):
            if port.backlog and not port.send():
                self._drop(port)
                continue
            events = selectors.EVENT_READ | (selectors.EVENT_WRITE if port.backlog else 0)
            key = self._selector.get_key(port.fileno())
            if key.events != events:
                self._selector.modify(port.fileno(), events, key.data)

    def _serve(self, port: Port, mask: int) -> None:
        if port in self._ports and mask & selectors.EVENT_READ and not port.take():
            self._drop(port)

    def _accept(self, accept: Callable[[], Port], mask: int) -> None:
        del mask
        try:
            self._add(accept())
        except OSError:
            # The client went away again before it was served.
            return

    def _add(self, port: Port) -> None:
        self._ports.add(port)
        self._watch(port.fileno(), partial(self._serve, port))

    def _watch(self, descriptor: int, call: Callable[[int], None]) -> None:
        self._selector.register(descriptor, selectors.EVENT_READ, call)

    def _drop(self, port: Port) -> None:
        self._ports.discard(port)
        self._selector.unregister(port.fileno())
        port.close()

    def _read_end(self, mask: int) -> None:
        del mask
        if self._until_eof is not None and not os.read(self._until_eof, 4096):
            self._ended = True
