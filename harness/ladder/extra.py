"""The readings beside the ladder: few, where they say most, at levels that source, bench and device permit."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Callable, Sequence

from harness.config import Extra
from harness.errors import ConfigError, Problem
from harness.ladder.extra_realness import exact_steps, offset_pairs, overdriven
from harness.ladder.ground import NEAR_RATIO, Ground, OtherSource, Wish
from harness.ladder.relays import toggles
from harness.ladder.steady import steady_levels
from harness.law import GainLaw
from harness.values import Aggressor, Direction, Prediction, Purpose, Rung, Setting

NEEDS = {
    "two_level": "a setting of the ladder at which source, bench and device permit both fills",
    "second_frequency_hz": "a ladder with settings",
    "quiet": "a ladder with settings",
    "repeats": "ranges in the ladder between which a relay moves",
    "overdriven": "a setting of the ladder that source, bench and device permit to overdrive",
    "exact_steps": "two settings of one channel in the ladder, both measurable at the level of the more sensitive one",
    "offset_pairs": "a ladder with settings",
    "dc_fill": "a DC-coupled device (input.coupling of its file), a source with steady levels (steady and steady_query "
    "among its commands), and a setting of the ladder that source, bench and device permit to be filled so",
    "crosstalk_hz": "an [aggressor] on the bench that can fill a range of its channel; a ladder without that channel",
}
"""What a kind of reading needs, by its key."""


def plan_extras(ground: Ground, extra: Extra, *, file: str) -> tuple[Rung, ...]:
    """Which readings a job takes beside its ladder, in their order.

    Args:
        ground: law, source, ladder.
        extra: what the job asks for.
        file: the job file's name, for messages.
    Returns:
        rungs whose index goes on behind the ladder's; empty when the job asks for none.
    Raises:
        ConfigError: a kind is asked for and no setting of the ladder can give it, each with what to do.
    """
    kinds: tuple[tuple[str, object, Callable[[Ground, Extra], list[Wish]]], ...] = (
        ("two_level", extra.two_level, _two_level),
        ("second_frequency_hz", extra.second_frequency_hz, _second_frequency),
        ("quiet", extra.quiet, _quiet),
        ("repeats", extra.repeats, _repeats),
        ("dc_fill", extra.dc_fill, steady_levels),
        ("crosstalk_hz", extra.crosstalk_hz, _crosstalk),
        ("overdriven", extra.overdriven, overdriven),
        ("exact_steps", extra.exact_steps, exact_steps),
        ("offset_pairs", extra.offset_pairs, offset_pairs),
    )
    wishes: list[Wish] = []
    problems: list[Problem] = []
    for key, asked, plan in kinds:
        found = plan(ground, extra) if asked else []
        if asked and not found:
            got = f"{asked!r}, and no setting can give it"
            problems.append(Problem(file=file, key=f"extra.{key}", got=got, allowed=f"{NEEDS[key]}; or leave it out"))
        wishes.extend(found)
    if problems:
        raise ConfigError(tuple(problems))
    return _rungs(ground, wishes)


def _two_level(ground: Ground, extra: Extra) -> list[Wish]:
    """One setting for each state of the relays, where the source need not change its range in between."""
    fills = extra.two_level or (0.0, 0.0)
    found: list[Wish] = []
    for predictions in ground.channels():
        for state in ground.states(predictions):
            pairs = [pair for p in state if (pair := _pair(ground, p, fills)) is not None]
            alike = [pair for pair in pairs if len({bisect(ground.range_ends_vpk, w.drive_vpk) for w in pair}) == 1]
            chosen = alike or pairs
            if chosen:
                found.extend(chosen[len(chosen) // 2])
    return found


def _pair(ground: Ground, prediction: Prediction, fills: Sequence[float]) -> list[Wish] | None:
    levels = [ground.drive.level(prediction.gain_codes_per_v, fill) for fill in fills]
    if any(abs(level.fill_ratio / fill - 1.0) > NEAR_RATIO for level, fill in zip(levels, fills, strict=True)):
        return None
    return [
        Wish(purpose=Purpose.TWO_LEVEL, prediction=prediction, drive_vpk=level.drive_vpk, fill_ratio=level.fill_ratio)
        for level in levels
    ]


def _second_frequency(ground: Ground, extra: Extra) -> list[Wish]:
    """Least gain of each state of the relays, where only the relays' part counts, and the highest gain of all."""
    found: list[Wish] = []
    for predictions in ground.channels():
        places = [state[0] for state in ground.states(predictions)]
        for prediction in dict.fromkeys((*places, predictions[-1])):
            for frequency_hz in (0.0, extra.second_frequency_hz or 0.0):
                found.append(_driven(ground, prediction, Purpose.SECOND_FREQUENCY, frequency_hz=frequency_hz))
    return found


def _driven(
    ground: Ground,
    prediction: Prediction,
    purpose: Purpose,
    *,
    frequency_hz: float = 0.0,
    via: Prediction | None = None,
) -> Wish:
    level = ground.drive.level(prediction.gain_codes_per_v, ground.fill_target_ratio)
    return Wish(
        purpose=purpose,
        prediction=prediction,
        drive_vpk=level.drive_vpk,
        fill_ratio=level.fill_ratio,
        frequency_hz=frequency_hz,
        via=via,
    )


def _quiet(ground: Ground, extra: Extra) -> list[Wish]:
    """The most sensitive setting of each range."""
    del extra
    found: list[Wish] = []
    for predictions in ground.channels():
        ranges = {prediction.setting.coarse: prediction for prediction in predictions}
        found.extend(Wish(purpose=Purpose.QUIET, prediction=prediction) for _, prediction in sorted(ranges.items()))
    return found


def _repeats(ground: Ground, extra: Extra) -> list[Wish]:
    """For each relay the smallest signal that passes it: first untouched, then with the relay moved away and back."""
    found: list[Wish] = []
    for predictions in ground.channels():
        names = sorted(frozenset().union(*map(ground.relays, predictions)))
        for relay in names:
            place = max((p for p in predictions if relay in ground.relays(p)), key=lambda p: p.gain_codes_per_v)
            away = next((p for p in predictions if relay not in ground.relays(p)), None)
            if away is None:
                continue
            found += [_driven(ground, place, Purpose.REPEAT)] * extra.repeats
            found += [_driven(ground, place, Purpose.REPEAT_TOGGLED, via=away)] * extra.repeats
    return found


def _crosstalk(ground: Ground, extra: Extra) -> list[Wish]:
    """Each channel of the ladder at its most sensitive setting, while the other source fills a large range."""
    other = ground.other
    if other is None or any(rung.setting.channel == other.channel for rung in ground.ladder):
        return []
    aggressor = _aggressor(ground.law, other, extra)
    if aggressor is None:
        return []
    return [
        Wish(purpose=Purpose.CROSSTALK, prediction=predictions[-1], aggressor=aggressor)
        for predictions in ground.channels()
    ]


def _aggressor(law: GainLaw, other: OtherSource, extra: Extra) -> Aggressor | None:
    """The largest range that the other source can fill."""
    for coarse in range(len(law.coarse_names)):
        prediction = law.predict(Setting(other.channel, coarse, 0))
        level = other.drive.level(prediction.gain_codes_per_v, extra.crosstalk_fill)
        if abs(level.fill_ratio / extra.crosstalk_fill - 1.0) <= NEAR_RATIO:
            return Aggressor(
                prediction=prediction,
                drive_vpk=level.drive_vpk,
                frequency_hz=extra.crosstalk_hz or 0.0,
                amplitude_code=level.fill_ratio * law.span_codes / 2.0,
            )
    return None


def _rungs(ground: Ground, wishes: Sequence[Wish]) -> tuple[Rung, ...]:
    visits: list[Prediction] = [rung.prediction for rung in ground.ladder]
    ends: list[tuple[int, int]] = []
    for wish in wishes:
        first = len(visits)
        visits.extend(p for p in (wish.via, wish.prediction) if p is not None)
        ends.append((first, len(visits)))
    moved = toggles(ground.law, visits)
    return tuple(
        Rung(
            index=len(ground.ladder) + number,
            direction=Direction.UP,
            prediction=wish.prediction,
            drive_vpk=wish.drive_vpk,
            fill_ratio=wish.fill_ratio,
            relay_toggles=sum(len(relays) for relays in moved[first:end]),
            purpose=wish.purpose,
            frequency_hz=wish.frequency_hz,
            via=wish.via.setting if wish.via else None,
            aggressor=wish.aggressor,
            steady=wish.steady,
        )
        for number, (wish, (first, end)) in enumerate(zip(wishes, ends, strict=True))
    )
