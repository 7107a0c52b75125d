"""Forwarding beside a sweep: the local record first, a copy to a server as it can be had, never waited for."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator

from harness.app import forwarding
from harness.app.output import say
from harness.errors import GainladderError, StoreError, StoreUnavailable
from harness.store import Forwarder, Store, Waiting, open_store, waiting_for

LAST_S = 15.0
"""How long the end of a sweep waits for the server to take what is left."""


class _Stop:
    """A clock whose pauses end when there is nothing more to come."""

    def __init__(self) -> None:
        self._over = threading.Event()

    def sleep(self, seconds: float) -> None:
        """Let time pass; Enough when no more readings will come."""
        if self._over.wait(seconds):
            raise forwarding.Enough

    def over(self) -> None:
        """No more readings will come."""
        self._over.set()


class Plant:
    """The way to the other store, as the bench of a run has it."""

    def __init__(self) -> None:
        """Nothing is in the way."""
        self.reachable: Callable[[], bool] = lambda: True


class _PastPlant(Forwarder):
    """Sends only while there is a way."""

    plant: Plant

    def send(self) -> Waiting:
        """As a forwarder; without a way as when the server is away."""
        if not self.plant.reachable():
            self.close()
            raise StoreUnavailable(
                f"store {self.target}: the plant's network is lost (injected): nothing is sent, the record goes on"
            )
        return super().send()


@contextlib.contextmanager
def forwarding_beside(store: Store, store_url: str, url: str) -> Iterator[Plant]:
    """Forward a store to another one while the caller works, in a thread with connections of its own.

    Without a `url` nothing is forwarded. What is given says whether there is a way: the bench of a run may set it. A
    server that is away is tried again and never waited for; at the end what is left is sent once, and what still waits
    is said.

    Raises:
        UsageError: not an address, or the store itself (before the caller works).
        StoreUnavailable: the server's driver is not installed (the same).
    """
    plant = Plant()
    if not url:
        yield plant
        return
    target = Forwarder(store, url).target
    stop = _Stop()
    thread = threading.Thread(target=_work, args=(store_url, url, stop, plant), name="forwarding", daemon=True)
    thread.start()
    try:
        yield plant
    finally:
        stop.over()
        thread.join(LAST_S)
        _tell(store, target)


def _work(store_url: str, url: str, stop: _Stop, plant: Plant) -> None:
    try:
        with open_store(store_url) as store, _PastPlant(store, url) as forwarder:
            forwarder.plant = plant
            forwarding.follow(forwarder, stop, quiet=True)
            # Away or not has been said; what still waits is said by whoever waited for this thread.
            with contextlib.suppress(StoreError):
                forwarder.send()
    except GainladderError as error:
        say(f"forwarding has stopped, the record goes on: {error}")


def _tell(store: Store, target: str) -> None:
    waiting = waiting_for(store, target)
    if waiting.runs:
        say(f"{target}: {forwarding.words(waiting)} waiting; `gainladder store forward` sends them when it is back")
    else:
        say(f"{target}: holds all that was recorded")
