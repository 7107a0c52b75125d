"""What a ladder will do, before anything is opened."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from harness.config import DeviceFile
from harness.ladder.relays import toggles
from harness.law import GainLaw
from harness.values import Direction, Purpose, Rung, db_from_ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class PreviewRow:
    """One planned reading, for people."""

    index: int
    direction: Direction
    label: str
    """Such as `ch2 50mV 70 %`."""
    word: str
    """Latch and word in hexadecimal, one for each gain device; empty for a device without a control bus."""
    controls: str
    """Such as `attenuator=1:10 pregain=1 code=204`, with `×2 arithmetic` where it is declared."""
    gain_codes_per_v: float
    """Arithmetic included."""
    gain_db: float
    """The same as a voltage gain from the input to the converter."""
    common_percent: float
    """Half width of 100 · ln G by tolerances that move all settings alike."""
    independent_percent: float
    """Half width of 100 · ln G by all other tolerances."""
    drive_vpk: float
    fill_ratio: float
    relay_toggles: int
    relays: tuple[str, ...]
    """Relays that change on the way to this reading, by the planned detour too."""
    purpose: Purpose
    """ladder, or the extra reading that it is."""
    frequency_hz: float
    """Of the source; 0 for the device's test frequency."""
    steady_v: float
    """Steady level instead of a sine, at the source's terminals; 0 for a sine."""
    dither: int
    """Positions around it; 0 where none is planned."""
    dither_always: bool
    """Whether they are taken whatever the noise; else where the record of the level is quiet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PreviewSummary:
    """The whole ladder."""

    settings: int
    """Different settings."""
    readings: int
    relay_toggles: tuple[tuple[str, int], ...]
    """Relay and how often it changes, all channels together; relays that rest have 0."""
    codes: tuple[int, ...]
    """Fine codes used, rising, each once; empty where fine positions are set by name."""
    largest_fine_step_db: float | None
    """Between fine neighbours of one range in this ladder; None where there are none."""
    duration_s: float
    """Least time: settling and records, without the latency of the instruments."""
    extras: tuple[tuple[Purpose, int], ...]
    """Readings beside the ladder, by purpose; contained in the numbers above."""


def preview_rows(rungs: Sequence[Rung], law: GainLaw) -> tuple[PreviewRow, ...]:
    """What each reading will be.

    Args:
        rungs: a ladder.
        law: that it was built with.
    Returns:
        one row per rung, in order.
    """
    moved = moves(rungs, law)
    spread = law.predict_many(law.index(rung.setting for rung in rungs))
    return tuple(
        _row(rung, relays, law, spread.common_percent, float(independent_percent))
        for rung, relays, independent_percent in zip(rungs, moved, spread.independent_percent, strict=True)
    )


def _row(
    rung: Rung, relays: Sequence[str], law: GainLaw, common_percent: float, independent_percent: float
) -> PreviewRow:
    prediction, state = rung.prediction, rung.prediction.state
    controls = " ".join(f"{name}={value}" for name, value in state.controls)
    if state.arithmetic_ratio != 1.0:
        controls += f" ×{state.arithmetic_ratio:g} arithmetic"
    return PreviewRow(
        index=rung.index,
        direction=rung.direction,
        label=prediction.label,
        word=" ".join(map(str, (state.word, *state.more))) if state.word.bits else "",
        controls=controls,
        gain_codes_per_v=prediction.gain_codes_per_v,
        gain_db=db_from_ratio(prediction.gain_codes_per_v / law.path.codes_per_v),
        common_percent=common_percent,
        independent_percent=independent_percent,
        drive_vpk=rung.drive_vpk,
        fill_ratio=rung.fill_ratio,
        relay_toggles=rung.relay_toggles,
        relays=tuple(sorted(set(relays))),
        purpose=rung.purpose,
        frequency_hz=rung.frequency_hz,
        steady_v=0.0 if rung.steady is None else rung.steady.level_v,
        dither=0 if rung.steady is None else len(rung.steady.dither_v),
        dither_always=rung.steady is not None and rung.steady.always,
    )


def moves(rungs: Sequence[Rung], law: GainLaw) -> tuple[tuple[str, ...], ...]:
    """Which relays change on the way to each reading.

    Args:
        rungs: a ladder, perhaps with the readings beside it.
        law: that it was built with.
    Returns:
        names of relays, once for each change, a detour included.
    """
    visits = [law.predict(place) for rung in rungs for place in (rung.via, rung.setting) if place is not None]
    changed = iter(toggles(law, visits))
    return tuple(tuple(relay for _ in range(1 if rung.via is None else 2) for relay in next(changed)) for rung in rungs)


def preview_summary(rungs: Sequence[Rung], law: GainLaw, device: DeviceFile) -> PreviewSummary:
    """What the ladder will be as a whole.

    Args:
        rungs: a ladder.
        law: that it was built with.
        device: for settling times and the length of a record.
    Returns:
        counts, codes, largest fine step, least duration.
    """
    counts = Counter(relay for relays in moves(rungs, law) for relay in relays)
    held = frozenset().union(*(law.relays_of(dict(rung.prediction.state.controls)) for rung in rungs))
    codes = {rung.prediction.state.control(law.code_control) for rung in rungs}
    return PreviewSummary(
        settings=len({rung.setting for rung in rungs}),
        readings=len(rungs),
        relay_toggles=tuple((relay, counts[relay]) for relay in sorted({*counts, *held})),
        codes=tuple(sorted(code for code in codes if isinstance(code, int))),
        largest_fine_step_db=_largest_fine_step_db(rungs),
        duration_s=_duration_s(rungs, device),
        extras=tuple(Counter(rung.purpose for rung in rungs if rung.purpose is not Purpose.LADDER).items()),
    )


def _largest_fine_step_db(rungs: Sequence[Rung]) -> float | None:
    gains = {rung.setting: rung.prediction.gain_codes_per_v for rung in rungs}
    steps_db = [
        abs(db_from_ratio(gains[upper] / gains[lower]))
        for lower, upper in pairwise(sorted(gains))
        if (lower.channel, lower.coarse) == (upper.channel, upper.coarse)
    ]
    return max(steps_db, default=None)


def _duration_s(rungs: Sequence[Rung], device: DeviceFile) -> float:
    record_s = device.acquisition.samples / device.acquisition.sample_rate_hz
    duration_s = 0.0
    before: tuple[int, int] | None = None
    for rung in rungs:
        place = (rung.setting.channel, rung.setting.coarse)
        more = 0 if rung.steady is None else rung.steady.least_records - 1
        duration_s += record_s + (device.settle.fine_s if place == before else device.settle.coarse_s)
        duration_s += more * (record_s + device.settle.fine_s)
        duration_s += 0.0 if rung.via is None else 2.0 * device.settle.coarse_s
        before = place
    return duration_s
