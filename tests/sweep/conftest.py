"""Opens simulated benches in memory for the tests of the sweep."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence

import pytest

from harness.app.bench_open import open_bench
from harness.values import Rung
from tests.sweep.spied_bench import SETUP, Rig, rungs_at


@pytest.fixture
def rig() -> Iterator[Callable[..., Rig]]:
    """Opens a simulated bench in memory with faults, and closes it again."""
    with contextlib.ExitStack() as stack:

        def make(*faults: str, rungs: Sequence[Rung] = ()) -> Rig:
            opened = stack.enter_context(
                open_bench(SETUP.bench, SETUP.device, transport="in-process", seed=1, faults=faults)
            )
            return Rig(opened.bench, rungs or rungs_at((1, 3, 0), (1, 3, 10), (1, 8, 20), (2, 8, 20)))

        yield make
