"""What a night will be, before anything is opened: runs, readings, hours, relay toggles."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from harness.app.output import result
from harness.app.relay_use import life_of, relay_toggles
from harness.app.setup import Setup
from harness.config import Anchors, Corner, Night
from harness.ladder import preview_summary

CYCLES_LOOKED_AT = 8
"""Random blocks move other relays in each cycle; so many are counted, the rest is taken to be like them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightPreview:
    """The whole night."""

    units: int
    corners: int
    """Visits of each unit."""
    cycles: int
    runs: int
    readings: int
    """Of the ladders and beside them."""
    anchors: int
    """Reference settings read again, as far as they follow from the count of rungs; a slow ladder has more."""
    shortest_s: float
    """Ladders and shortest dwells, without the latency of the instruments."""
    longest_s: float
    """With every dwell at its longest."""
    toggles: tuple[tuple[str, int, float | None], ...]
    """Channel and relay, toggles of one unit in the whole night, stated life."""


def night_preview(night: Night, setup_of_cycle: Callable[[int], Setup], *, units: int) -> NightPreview:
    """Look at a night whose job is walked as `setup_of_cycle` says, for some units."""
    visits = len(night.corner)
    runs = units * visits * night.cycles
    looked = min(night.cycles, CYCLES_LOOKED_AT)
    ladders = [setup_of_cycle(cycle) for cycle in range(looked)]
    first = ladders[0]
    moved: Counter[str] = Counter()
    for ladder in ladders:
        moved += relay_toggles(ladder.law, (rung.setting for rung in ladder.every_rung))
    sweep_s = sum(preview_summary(one.every_rung, one.law, one.device).duration_s for one in ladders) / looked
    dwells = [_dwell_s(night, corner) for corner in night.corner]
    life = first.device.relay_life
    return NightPreview(
        units=units,
        corners=visits,
        cycles=night.cycles,
        runs=runs,
        readings=runs * len(first.every_rung),
        anchors=runs * _anchors(first.job.anchors, len(first.every_rung)),
        shortest_s=runs * sweep_s + units * sum(low for low, _ in dwells),
        longest_s=runs * sweep_s + units * sum(high for _, high in dwells),
        toggles=tuple(
            (relay, round(count * visits * night.cycles / looked), life_of(life, relay))
            for relay, count in sorted(moved.items())
        ),
    )


def _dwell_s(night: Night, corner: Corner) -> tuple[float, float]:
    """The shortest and the longest wait in a corner; none where nothing is set."""
    if corner.temperature_c is None and corner.supply_v is None:
        return 0.0, 0.0
    rules = night.dwell
    return max(rules.probe_s, rules.gain_s), rules.longest_s


def _anchors(anchors: Anchors | None, rungs: int) -> int:
    if anchors is None:
        return 0
    within = (rungs - 1) // anchors.every_rungs if anchors.every_rungs is not None else 0
    # One look before the first rung and one behind the last.
    return (within + 2) * len(anchors.setting)


def night_text(night: NightPreview) -> None:
    """The whole in a few lines, for a person."""
    result(
        f"\nthe night: {night.units} units x {night.corners} corners x {night.cycles} cycles = {night.runs} runs, "
        f"{night.readings} readings and about {night.anchors} anchors"
    )
    result(
        f"at least {hours(night.shortest_s)}, {hours(night.longest_s)} with every dwell at its longest; "
        "the instruments' own time comes on top"
    )
    said = [
        f"{relay} {count}" + ("" if life is None else f" ({count / life:.2g} of its life)")
        for relay, count, life in night.toggles
    ]
    result(f"relay toggles of each unit: {', '.join(said) or 'none'}")


def hours(seconds: float) -> str:
    """A time as people say it at night."""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{max(minutes, 1)} min"
