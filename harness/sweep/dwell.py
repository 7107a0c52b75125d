"""Waiting until a unit has settled in its corner: the probe near the set point and still, and the gain still too."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from harness.bench import Clock
from harness.config import DeviceFile, Dwell
from harness.sweep.recheck import gain_of
from harness.sweep.walk import Walk
from harness.values import CONDITION, Rung, conditions_text

Note = Callable[[str, str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    at_s: float
    probe_c: float | None
    gain: float | None


def settle(
    walk: Walk,
    rung: Rung,
    *,
    conditions: Callable[[], dict[str, float]],
    temperature_c: float | None,
    rules: Dwell,
    device: DeviceFile,
    clock: Clock,
    note: Note,
    check: Callable[[dict[str, float]], None],
) -> bool:
    """Look at probe and gain again and again until both rest; True when they do before the time is up.

    `conditions` reads what surrounds the unit. Every look is in the record: those as a line of the journal, the gain as
    an anchor. `check` sees the conditions and may raise. Errors and their promises as of a portion of the walk; the
    source is off between looks.
    """
    began_s = clock.now_s()
    looks: list[_Look] = []
    while True:
        values = conditions()
        if values:
            note(CONDITION, conditions_text(values))
        check(values)
        gain = gain_of(walk.look(rung), device)
        looks.append(_Look(
            at_s=clock.now_s(), probe_c=values.get("probe_c"), gain=None if gain is None else gain.codes_per_set_v
        ))  # fmt: skip
        waited_s = clock.now_s() - began_s
        why = _unsettled(looks, temperature_c, rules, waited_s)
        if not why:
            note("dwell", f"settled after {waited_s:.0f} s")
            return True
        if waited_s + rules.look_s > rules.longest_s:
            note("dwell", f"NOT settled after {waited_s:.0f} s: {why}; the sweep goes on")
            return False
        clock.sleep(rules.look_s)


def _unsettled(looks: list[_Look], temperature_c: float | None, rules: Dwell, waited_s: float) -> str:
    """Why the unit has not settled; empty when it has."""
    now = looks[-1]
    if now.probe_c is None and any(look.probe_c is not None for look in looks):
        return "the probe does not answer"
    if now.probe_c is not None:
        if temperature_c is not None and abs(now.probe_c - temperature_c) > rules.within_k:
            return f"the probe is at {now.probe_c:.2f} °C, wanted {temperature_c:g}"
        probes = [look.probe_c for look in _over(looks, rules.probe_s) if look.probe_c is not None]
        moved_k = max(probes) - min(probes)
        if moved_k >= rules.probe_k:
            return f"the probe has moved by {moved_k:.2f} K"
        if waited_s < rules.probe_s:
            return "the probe has not been watched for long enough"
    gains = [look.gain for look in _over(looks, rules.gain_s) if look.gain is not None]
    if now.gain is None:
        return "the gain cannot be told"
    moved_percent = 100.0 * math.log(max(gains) / min(gains))
    if moved_percent >= rules.gain_percent:
        return f"the gain has moved by {moved_percent:.3f} %"
    return "" if waited_s >= rules.gain_s else "the gain has not been watched for long enough"


def _over(looks: list[_Look], window_s: float) -> list[_Look]:
    """The looks of the last seconds, and the one before them: together they cover the whole window."""
    since_s = looks[-1].at_s - window_s
    first = max((index for index, look in enumerate(looks) if look.at_s <= since_s), default=0)
    return looks[first:]
