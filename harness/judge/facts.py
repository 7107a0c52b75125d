"""What follows from a run's readings before any limit is asked: evidence, realness, steps, uncertainty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.config import DeviceFile
from harness.judge.beside import beside_of
from harness.judge.extra_reading import ExtraMeasured, Reducer
from harness.judge.gain_budget import GainBudget, Statement, gain_budget, reduced
from harness.judge.grounds import Ground, Grounds
from harness.judge.realness import Evidence
from harness.judge.rows import Gathered, evidence_of
from harness.judge.steps import STEP_KINDS, Step, steps_of
from harness.judge.waveform import PooledCodes, Seen
from harness.ladder import open_ratio
from harness.law import GainLaw
from harness.values import Realness, Setting

ARITHMETIC = (Realness.ARITHMETIC, Realness.MIXED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """The same whatever the limits."""

    gathered: Mapping[Setting, Gathered]
    evidence: Mapping[Setting, Evidence]
    grounds: Mapping[Setting, Ground]
    steps: Sequence[Step]
    budget: GainBudget
    pooled: Mapping[int, PooledCodes]
    """By channel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelFacts:
    """What one channel's readings show; no other channel has a say in it."""

    evidence: Mapping[Setting, Evidence]
    grounds: Mapping[Setting, Ground]
    steps: Sequence[Step]
    pooled: PooledCodes


def channel_facts(
    gathered: Mapping[Setting, Gathered],
    *,
    law: GainLaw,
    device: DeviceFile,
    seen: Mapping[Setting, Seen],
    extras: Sequence[ExtraMeasured] = (),
) -> ChannelFacts:
    """What the readings of a channel show.

    Args:
        gathered: the readings of each planned setting of one channel, in order of the ladder.
        law: of the device.
        device: converter, channels.
        seen: what the record of a setting shows by itself; a setting without one is decided by its words.
        extras: the channel's planned readings beside the ladder.
    Returns:
        the facts.
    Source:
        none: a walk over the parts.
    """
    plan = {setting: item.prediction for setting, item in gathered.items()}
    evidence = {setting: _evidence(item, law) for setting, item in gathered.items()}
    grounds = Grounds(evidence, plan, seen, device=device, beside=beside_of(extras, device))
    steps = steps_of(plan, evidence, grounds)
    ground = {setting: grounds.setting(setting) for setting in evidence}
    return ChannelFacts(
        evidence=evidence, grounds=ground, steps=steps, pooled=_pooled(gathered, ground, seen, device=device)
    )


def facts_of(
    gathered: Mapping[Setting, Gathered],
    channels: Sequence[ChannelFacts],
    *,
    law: GainLaw,
    statement: Statement | None,
    terminal_ratio: float,
) -> Facts:
    """What the readings of a run show.

    Args:
        gathered: the readings of each planned setting, in order of the ladder.
        channels: what those of each channel show, in order of the channels.
        law: of the device.
        statement: what bench and device leave open about a gain; None makes no budget.
        terminal_ratio: volts at the source's terminals per volt that the source is set to.
    Returns:
        the facts.
    Source:
        none: a walk over the parts.
    """
    evidence = {setting: known for channel in channels for setting, known in channel.evidence.items()}
    grounds = {setting: ground for channel in channels for setting, ground in channel.grounds.items()}
    steps = [step for kind in STEP_KINDS for channel in channels for step in channel.steps if step.kind == kind]
    return Facts(
        gathered=gathered,
        evidence={setting: evidence[setting] for setting in gathered},
        grounds={setting: grounds[setting] for setting in gathered},
        steps=steps,
        budget=_budget(gathered, steps, law=law, statement=statement, terminal_ratio=terminal_ratio),
        pooled={channel.pooled.channel: channel.pooled for channel in channels},
    )


def reducer(law: GainLaw, statement: Statement | None, *, terminal_ratio: float) -> Reducer:
    """What makes of a setting's readings what a budget must know of them.

    Args:
        law: of the device.
        statement: what bench and device leave open about a gain; None where nothing is stated.
        terminal_ratio: volts at the source's terminals per volt that the source is set to.
    Returns:
        the function; it gives None without a valid reading, and where nothing is stated.
    Source:
        none: a record.
    """
    if statement is None:
        return lambda item: None
    open_by = open_ratio(statement.wiring)
    return lambda item: reduced(
        item,
        code_control=law.code_control,
        range_name=law.coarse_names[item.prediction.setting.coarse],
        open_ratio=open_by,
        terminal_ratio=terminal_ratio,
    )


def _evidence(item: Gathered, law: GainLaw) -> Evidence:
    controls = dict(item.prediction.state.controls)
    channel = item.prediction.setting.channel

    def hardware_of(latched: Mapping[str, int]) -> float:
        seen = law.controls_of_words(channel, latched) if latched else {}
        gain = law.gain_of({**controls, **seen})
        return gain if gain > 0.0 else law.gain_of(controls)

    return evidence_of(item, relays=law.relays_of(controls), hardware_of=hardware_of)


def _pooled(
    gathered: Mapping[Setting, Gathered],
    grounds: Mapping[Setting, Ground],
    seen: Mapping[Setting, Seen],
    *,
    device: DeviceFile,
) -> PooledCodes:
    """The records whose codes are the converter's own: arithmetic leaves gaps that are none of its."""
    plain = [
        seen[setting]
        for setting, item in gathered.items()
        if setting in seen
        and item.prediction.state.arithmetic_ratio == 1.0
        and grounds[setting].found.realness not in ARITHMETIC
    ]
    return PooledCodes(
        channel=next(iter(gathered)).channel,
        seen=tuple(plain),
        low_code=device.converter.low_code,
        high_code=device.converter.high_code,
    )


def _budget(
    gathered: Mapping[Setting, Gathered],
    steps: Sequence[Step],
    *,
    law: GainLaw,
    statement: Statement | None,
    terminal_ratio: float,
) -> GainBudget:
    reduce = reducer(law, statement, terminal_ratio=terminal_ratio)
    found = [reduce(item) for item in gathered.values()]
    pairs = [(step.lower.setting, step.upper.setting) for step in steps]
    return gain_budget(statement, [item for item in found if item is not None], pairs=pairs)
