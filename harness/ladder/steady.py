"""Steady levels of both signs, and the positions of a dither around each, within what may be put out."""

from __future__ import annotations

from typing import Literal

from harness.config import Extra
from harness.ladder.drive import Drive
from harness.ladder.ground import NEAR_RATIO, Ground, Wish
from harness.values import Prediction, Purpose, SteadyPlan

STEPS_A_POSITION = 2.0
"""Steps of the source between two positions of a dither, at least: fewer would make it uneven by more than it mends."""


def steady_levels(ground: Ground, extra: Extra) -> list[Wish]:
    """Steady levels of both signs, one after the other, at the ends of each range or everywhere.

    Args:
        ground: what the planning stands on.
        extra: what the job asks for.
    Returns:
        wishes; none where source or device have no steady levels, or no setting can be filled so. Arithmetic is left
        out, for it makes no codes of its own.
    Source:
        practice: DC and AC, both on at least one setting of each state.
    """
    step_v, fill = ground.steady_step_v, extra.dc_fill
    if step_v is None or fill is None:
        return []
    found: list[Wish] = []
    for predictions in ground.channels():
        ranges: dict[int, list[Prediction]] = {}
        for prediction in predictions:
            if prediction.state.arithmetic_ratio == 1.0:
                ranges.setdefault(prediction.setting.coarse, []).append(prediction)
        for _, inside in sorted(ranges.items()):
            for prediction in inside if extra.dc_settings == "all" else dict.fromkeys((inside[0], inside[-1])):
                level = ground.drive.level(prediction.gain_codes_per_v, fill)
                if abs(level.fill_ratio / fill - 1.0) > NEAR_RATIO:
                    continue
                pair = steady_pair(
                    ground.drive,
                    gain_codes_per_v=prediction.gain_codes_per_v,
                    level_vpk=level.drive_vpk,
                    step_v=step_v,
                    dither=extra.dither,
                    positions=extra.dither_positions,
                )
                found += [
                    Wish(
                        purpose=purpose,
                        prediction=prediction,
                        drive_vpk=abs(plan.level_v),
                        fill_ratio=level.fill_ratio,
                        steady=plan,
                    )
                    for purpose, plan in zip((Purpose.DC_PLUS, Purpose.DC_MINUS), pair, strict=True)
                ]
    return found


def steady_pair(
    drive: Drive,
    *,
    gain_codes_per_v: float,
    level_vpk: float,
    step_v: float,
    dither: Literal["quiet", "always", "never"],
    positions: int,
) -> tuple[SteadyPlan, SteadyPlan]:
    """Two steady levels of one amount, with a dither over one code around each.

    Args:
        drive: what the source may put out, and what of it arrives.
        gain_codes_per_v: predicted gain, codes a volt at the input, > 0.
        level_vpk: wanted amount, V at the source's terminals for the load it is told, > 0.
        step_v: least step of the source's steady levels, V there, > 0.
        dither: when it is taken.
        positions: of the dither, 8 or more.
    Returns:
        the plans above and below zero; no level of either is beyond what may be put out. Without positions where the
        source's steps are too coarse for them.
    Source:
        common practice, no source: ±0.5 LSB in at least 8 steps; two levels, so that the offset cancels.
    """
    code_v = 1.0 / (gain_codes_per_v * drive.input_ratio)
    fine = code_v / positions >= STEPS_A_POSITION * step_v
    wanted = dither != "never" and fine
    amount_v = min(level_vpk, drive.most_vpk - (code_v / 2.0 if wanted else 0.0))
    offsets_v = [offset * code_v for offset in _offsets_code(positions)] if wanted else []
    above, below = (
        SteadyPlan(
            level_v=sign * amount_v,
            dither_v=tuple(sign * amount_v + offset_v for offset_v in offsets_v),
            always=dither == "always",
        )
        for sign in (1.0, -1.0)
    )
    return above, below


def _offsets_code(positions: int) -> tuple[float, ...]:
    """Spread evenly over one code, rising."""
    return tuple((k + 0.5) / positions - 0.5 for k in range(positions))
