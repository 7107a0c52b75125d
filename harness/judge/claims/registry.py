"""All claims, once; the order is that of their reasons where several of a setting fail alike."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from harness.judge.claims.bus_timing import BUS_TIMING
from harness.judge.claims.clip_level import CLIP_LEVEL
from harness.judge.claims.context import Context
from harness.judge.claims.crosstalk import CROSSTALK
from harness.judge.claims.dc_gain import DC_GAIN
from harness.judge.claims.gain import GAIN
from harness.judge.claims.kind import ClaimKind, Need
from harness.judge.claims.linearity import TWO_LEVEL
from harness.judge.claims.match import CHANNEL_MATCH
from harness.judge.claims.measurable import MEASURABLE
from harness.judge.claims.missing_codes import MISSING_CODES
from harness.judge.claims.monotonic import MONOTONIC
from harness.judge.claims.noise import INPUT_NOISE, NOISE
from harness.judge.claims.offset import OFFSET
from harness.judge.claims.parameter import PARAMETER
from harness.judge.claims.polarity import POLARITY
from harness.judge.claims.realness import REALNESS
from harness.judge.claims.repeatability import TOGGLE_SCATTER
from harness.judge.claims.residual import RESIDUAL
from harness.judge.claims.response import SECOND_FREQUENCY
from harness.judge.claims.scale import SCALE
from harness.judge.claims.station import STATION
from harness.judge.claims.steady import STEADY
from harness.judge.claims.step import COARSE_STEP, FINE_STEP
from harness.judge.claims.up_down import UP_DOWN
from harness.judge.claims.word import WORD
from harness.values import Judgement

CLAIMS: tuple[ClaimKind, ...] = (
    STATION,
    WORD,
    MEASURABLE,
    GAIN,
    FINE_STEP,
    COARSE_STEP,
    MONOTONIC,
    REALNESS,
    RESIDUAL,
    CHANNEL_MATCH,
    OFFSET,
    NOISE,
    INPUT_NOISE,
    TWO_LEVEL,
    POLARITY,
    DC_GAIN,
    SECOND_FREQUENCY,
    TOGGLE_SCATTER,
    CROSSTALK,
    CLIP_LEVEL,
    MISSING_CODES,
    PARAMETER,
    UP_DOWN,
    STEADY,
    SCALE,
    BUS_TIMING,
)

ITEMS: Mapping[str, str] = MappingProxyType(
    {kind.item: "" if kind.limits_elsewhere else kind.unit for kind in CLAIMS if kind.in_limits}
)
"""Items of limits files and their unit; an item without a unit takes no numbers."""


def judge_all(context: Context, *, provisional: bool = False) -> tuple[tuple[ClaimKind, Judgement], ...]:
    """Every judgement that the claims make of a run.

    Args:
        context: the run.
        provisional: only the claims that can be made of one reading alone.
    Returns:
        judgements with their kind, in order of the registry; none of a kind that the limits file leaves out.
    Source:
        none: a walk over the registry.
    """
    return tuple(
        (kind, judgement)
        for kind in CLAIMS
        if (kind.provisional or not provisional) and (not kind.in_limits or context.requires(kind.item))
        for judgement in kind.judge(context)
    )


def unmeasured(context: Context) -> tuple[str, ...]:
    """Which requirements the job takes no readings for, or too few.

    They decide nothing: a job may leave them out on purpose, and a short one must be able to pass; so they are named.

    Args:
        context: the run.
    Returns:
        items of the limits file, in order of the registry.
    Source:
        none: a walk over the registry.
    """
    planned = {extra.rung.purpose for extra in context.extras}
    channels = {setting.channel for setting in context.gathered}
    return tuple(
        kind.item
        for kind in CLAIMS
        if context.requires(kind.item)
        and (
            (kind.purposes and not kind.purposes & planned)
            or (Need.CHANNELS in kind.needs and len(channels) < 2)
            or (Need.CODES in kind.needs and not any(pooled.enough for pooled in context.pooled.values()))
        )
    )
