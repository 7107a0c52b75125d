"""SIGTERM ends a run like Ctrl-C does; further ones must not cut the safe state short."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator
from types import FrameType


@contextlib.contextmanager
def interruptible() -> Iterator[None]:
    """Turn the first SIGINT or SIGTERM into KeyboardInterrupt and ignore the rest while the way out is walked."""

    def first(number: int, frame: FrameType | None) -> None:
        for each in (signal.SIGINT, signal.SIGTERM):
            signal.signal(each, signal.SIG_IGN)
        raise KeyboardInterrupt

    previous = {number: signal.signal(number, first) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in previous.items():
            signal.signal(number, handler)
