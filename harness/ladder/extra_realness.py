"""Readings beside the ladder that tell hardware from arithmetic: overdriven, at one level, with the source off."""

from __future__ import annotations

from collections.abc import Sequence

from harness.config import Extra
from harness.ladder.ground import NEAR_RATIO, Ground, Wish
from harness.values import Prediction, Purpose, Setting

LEAST_FILL = 0.2
"""Below it the rounding of a record begins to count in a step that is to be known to 0.03 %."""


def overdriven(ground: Ground, extra: Extra) -> list[Wish]:
    """Each setting once, driven beyond its full scale.

    Args:
        ground: law, source, ladder.
        extra: `overdriven` is the signal span over the converter span if nothing clipped.
    Returns:
        the wishes; a setting that source, bench or device forbid to overdrive is left out, never driven less.
    """
    fill = extra.overdriven or 0.0
    found: list[Wish] = []
    for predictions in ground.channels():
        for prediction in predictions:
            level = ground.drive.level(prediction.gain_codes_per_v, fill)
            if abs(level.fill_ratio / fill - 1.0) <= NEAR_RATIO:
                found.append(
                    Wish(
                        purpose=Purpose.OVERDRIVEN,
                        prediction=prediction,
                        drive_vpk=level.drive_vpk,
                        fill_ratio=level.fill_ratio,
                    )
                )
    return found


def exact_steps(ground: Ground, extra: Extra) -> list[Wish]:
    """Pairs of settings, both at the level of the more sensitive one, so that what the source is off by cancels.

    Each setting is paired with the least sensitive one of its range, and with that of the range before at the same fine
    position. The whole round is made again and again: what moves between two rounds shows in the scatter.

    Args:
        ground: law, source, ladder.
        extra: `exact_steps` is the number of rounds.
    Returns:
        the wishes, round by round; a pair whose less sensitive side would hardly fill the converter is left out.
    """
    once = [wish for predictions in ground.channels() for wish in _round(ground, predictions)]
    return once * extra.exact_steps


def _round(ground: Ground, predictions: Sequence[Prediction]) -> list[Wish]:
    ranges: dict[int, list[Prediction]] = {}
    for prediction in predictions:
        ranges.setdefault(prediction.setting.coarse, []).append(prediction)
    found: dict[tuple[Setting, float], Wish] = {}
    before: list[Prediction] = []
    for _, members in sorted(ranges.items()):
        beside = {p.setting.fine: p for p in before}
        pairs = [(beside.get(p.setting.fine), p) for p in members] + [(members[0], p) for p in members[1:]]
        kept = [(lower, upper) for lower, upper in pairs if lower is not None and _fits(ground, lower, upper)]
        # First all of the range before, then all of this one: the relays move twice.
        sides = [(lower, upper) for lower, upper in kept if lower in before]
        sides += [(lower, upper) for lower, upper in kept if lower not in before]
        sides += [(upper, upper) for _, upper in kept]
        for side, at in sides:
            wish = _at_level_of(ground, side, at)
            found.setdefault((side.setting, wish.drive_vpk), wish)
        before = members
    return list(found.values())


def _at_level_of(ground: Ground, prediction: Prediction, other: Prediction) -> Wish:
    drive_vpk = ground.drive.level(other.gain_codes_per_v, ground.fill_target_ratio).drive_vpk
    fill_ratio = 2.0 * drive_vpk * prediction.gain_codes_per_v * ground.drive.input_ratio / ground.drive.span_codes
    return Wish(purpose=Purpose.EXACT, prediction=prediction, drive_vpk=drive_vpk, fill_ratio=fill_ratio)


def _fits(ground: Ground, lower: Prediction, upper: Prediction) -> bool:
    """Whether the less sensitive side is filled well, and the other not too much."""
    fills = [_at_level_of(ground, side, upper).fill_ratio for side in (lower, upper)]
    return fills[0] >= LEAST_FILL and fills[1] <= ground.fill_target_ratio * (1.0 + NEAR_RATIO)


def offset_pairs(ground: Ground, extra: Extra) -> list[Wish]:
    """All settings with the source off, again and again, so that each round makes a pair of any two.

    Args:
        ground: law, source, ladder.
        extra: `offset_pairs` is the number of rounds.
    Returns:
        the wishes, round by round.
    """
    once = [
        Wish(purpose=Purpose.OFFSET, prediction=prediction)
        for predictions in ground.channels()
        for prediction in predictions
    ]
    return once * extra.offset_pairs
