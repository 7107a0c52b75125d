"""Opens simulated benches in memory for the tests of the sweep."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Callable, Iterator, Sequence

import pytest

from harness.app.bench_open import open_bench
from harness.values import Rung
from tests.sweep.spied_bench import SETUP, Rig, rungs_at


@pytest.fixture
def rig() -> Iterator[Callable[..., Rig]]:
    """Opens a simulated bench in memory with faults, and closes it again; one question a message unless together."""
    with contextlib.ExitStack() as stack:

        def make(*faults: str, rungs: Sequence[Rung] = (), together: bool = False) -> Rig:
            profiles = {
                role: profile.model_copy(
                    update={
                        "together": together and profile.together,
                        "record_together": together and profile.record_together,
                    }
                )
                for role, profile in SETUP.bench.profiles.items()
            }
            setup = dataclasses.replace(SETUP.bench, profiles=profiles)
            opened = stack.enter_context(open_bench(setup, SETUP.device, transport="in-process", seed=1, faults=faults))
            return Rig(opened.bench, rungs or rungs_at((1, 3, 0), (1, 3, 10), (1, 8, 20), (2, 8, 20)))

        yield make
