"""A ladder walked in portions: one self-check, the source off between, the same readings as in one go."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from harness.errors import StoreUnavailable
from harness.sweep import Walk
from tests.sweep.spied_bench import Rig, error_percent, rungs_at

Open = Callable[..., Rig]
FIRST, SECOND = rungs_at((1, 3, 0), (1, 3, 10)), rungs_at((1, 8, 20), (2, 8, 20))


def walked(rig: Rig) -> Walk:
    return Walk(rig.bench, rig.plan, rig.notebook)


def test_portions_follow_each_other_with_the_source_off_between_and_one_self_check(rig: Open) -> None:
    there = rig(rungs=(*FIRST, *SECOND))
    walk = walked(there)
    for portion in (FIRST, SECOND):
        walk.portion(portion, progress=lambda done, reading: None)
        assert not there.output_is_on()
    assert [reading.index for reading in there.readings] == [0, 1, 2, 3]
    assert len(there.notebook.texts("self-check")) == 1
    assert there.verbs.count("device.prepare") == 1
    # Closed form, no fit of ours: each gain is the law's within 1 %, so the level was on and right after each pause.
    assert max(abs(error_percent(r, g)) for r, g in zip(there.readings, (*FIRST, *SECOND), strict=True)) < 1.0


def test_after_other_hands_the_bench_is_made_ready_anew(rig: Open) -> None:
    there = rig(rungs=(*FIRST, *SECOND))
    walk = walked(there)
    walk.portion(FIRST, progress=lambda done, reading: None)
    there.bench.source.set_frequency(7000.0)
    walk.forget()
    walk.portion(SECOND, progress=lambda done, reading: None)
    assert there.verbs.count("device.prepare") == 2
    assert np.ptp([reading.frequency_hz for reading in there.readings]) == 0.0
    assert len(there.notebook.texts("self-check")) == 1


def test_a_portion_that_breaks_off_leaves_the_source_off_and_the_next_one_starts_afresh(rig: Open) -> None:
    there = rig(rungs=(*FIRST, *SECOND))
    walk = walked(there)
    there.notebook.full_at = 1
    with pytest.raises(StoreUnavailable, match="the disk is full"):
        walk.portion(FIRST, progress=lambda done, reading: None)
    assert not there.output_is_on()
    there.notebook.full_at = None
    walk.portion(SECOND, progress=lambda done, reading: None)
    assert there.verbs.count("device.prepare") == 2
    assert len(there.readings) == 3
