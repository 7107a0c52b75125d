"""The garbage collector stands still while many records are made that all stay."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_paused() -> Iterator[None]:
    """Let it stand still: a run of 10,000 settings makes a million records without a cycle, and it walks all of them
    again and again, as long as the judging takes itself."""
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            gc.enable()
