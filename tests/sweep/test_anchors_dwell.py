"""Anchors read again when due, and a unit that settles: probe and gain at rest."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import Any

import pytest

from harness.bench import Surroundings
from harness.config import Dwell
from harness.errors import StopCondition
from harness.sweep import AnchorPlan, Walk, settle
from harness.values import Purpose
from tests.sweep.spied_bench import SETUP, Rig, rungs_at

RUNGS = tuple(rungs_at((1, 3, 0), (1, 3, 10), (1, 8, 20), (2, 8, 20)))
Open = Callable[..., Rig]


def plan(**changes: Any) -> AnchorPlan:
    made = AnchorPlan(rungs=RUNGS[1:2], every_rungs=2, every_s=None, moved_percent=1.0)
    return dataclasses.replace(made, **changes)


def test_anchors_come_first_and_then_after_so_many_rungs(rig: Open) -> None:
    there = rig(rungs=RUNGS)
    there.sweep(anchors=plan())
    assert [r.purpose is Purpose.ANCHOR for r in there.readings] == [True, False, False, True, False, False]
    assert {r.setting for r in there.readings if r.purpose is Purpose.ANCHOR} == {RUNGS[1].setting}
    (said,) = there.notebook.texts("anchor")
    assert "% since reading 0" in said


def test_anchors_come_after_so_long(rig: Open) -> None:
    there = rig(rungs=RUNGS)
    there.after = lambda done, reading: there.bench.clock.sleep(400.0)
    there.sweep(anchors=plan(every_rungs=None, every_s=600.0))
    assert [r.purpose is Purpose.ANCHOR for r in there.readings] == [True, False, False, True, False, False]


def test_an_anchor_that_moved_too_far_stops_the_unit_with_the_source_off(rig: Open) -> None:
    there = rig(rungs=RUNGS)

    def after(done: int, reading: Any) -> None:
        # The source is 3 % low from here on, and says nothing of it.
        source = there.link("source")._instrument
        if done == 1:
            level = source.signal

            def low() -> Any:
                found = level()
                glide = dataclasses.replace(found.level_v, target=0.97 * found.level_v.target)
                return dataclasses.replace(found, level_v=glide)

            source.signal = low

    there.after = after
    with pytest.raises(StopCondition, match=r"anchor ch1 2V 70 % has moved by -3\..* allowed 1 %") as it:
        there.sweep(anchors=plan())
    assert it.value.scope == "unit"
    assert not there.output_is_on()


class Thermometer:
    """A probe whose temperature follows a time."""

    def __init__(self, at: Callable[[], float]) -> None:
        self.temperature_c = at


RULES = Dwell(probe_k=0.2, probe_s=300.0, gain_percent=0.2, gain_s=300.0, look_s=60.0, longest_s=3600.0)


def settled(there: Rig, at: Callable[[float], float], rules: Dwell = RULES, wanted_c: float | None = 50.0) -> bool:
    clock = there.bench.clock
    began_s = clock.now_s()
    walk = Walk(there.bench, there.plan, there.notebook)
    probe = Thermometer(lambda: at(clock.now_s() - began_s))
    return settle(
        walk, RUNGS[1],
        conditions=Surroundings(probe=probe).conditions, temperature_c=wanted_c, rules=rules, device=SETUP.device,
        clock=clock, note=there.notebook.note, check=lambda values: None,
    )  # fmt: skip


def test_a_unit_is_settled_when_probe_and_gain_rest(rig: Open) -> None:
    there = rig(rungs=RUNGS)
    # Closed form: 50 - 27·exp(-t/300 s) has moved by under 0.2 K in 300 s from t = 300·ln(27·(e-1)/0.2) = 1634 s on;
    # looks are 60 s apart, and what they take comes on top.
    assert settled(there, lambda t_s: 50.0 - 27.0 * math.exp(-t_s / 300.0))
    (said,) = there.notebook.texts("dwell")
    waited_s = float(said.split()[2])
    assert 1634.0 <= waited_s <= 1634.0 + 2 * 61.0
    assert not there.output_is_on()
    assert {r.purpose for r in there.readings} == {Purpose.ANCHOR}
    assert len(there.notebook.texts("condition")) == len(there.readings)


@pytest.mark.parametrize(
    ("at", "why"),
    [
        (lambda t_s: 45.0, "the probe is at 45.00 °C, wanted 50"),
        (lambda t_s: 50.0 + 0.5 * math.sin(t_s / 60.0), "the probe has moved by"),
    ],
)
def test_a_unit_that_never_settles_is_told_and_swept(rig: Open, at: Callable[[float], float], why: str) -> None:
    there = rig(rungs=RUNGS)
    assert not settled(there, at, RULES.model_copy(update={"longest_s": 600.0}))
    (said,) = there.notebook.texts("dwell")
    assert said.startswith("NOT settled after")
    assert why in said


def test_a_gain_that_creeps_keeps_a_unit_waiting_whatever_the_probe_says(rig: Open) -> None:
    there = rig(rungs=RUNGS)
    rules = RULES.model_copy(update={"gain_percent": 1e-6, "longest_s": 600.0})
    assert not settled(there, lambda t_s: 50.0, rules)
    assert "the gain has moved by" in there.notebook.texts("dwell")[0]


def test_a_stop_condition_survives_pickling() -> None:
    import pickle

    again = pickle.loads(pickle.dumps(StopCondition("too hot", scope="night")))
    assert (str(again), again.scope) == ("too hot", "night")
