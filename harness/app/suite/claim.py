"""Claims as tests see them: channel, range, item; and which ranges must have been swept before one can be decided."""

from __future__ import annotations

import enum
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from harness.app.setup import Setup
from harness.judge import CLAIMS, LEAST_SETTINGS
from harness.judge.claims import ClaimKind, Need, Scope
from harness.judge.waveform import records_needed
from harness.values import Judgement, Setting

Range = tuple[int, int]
"""Channel and coarse index."""
FINE_STEPS = ("fine-step", "monotonic")
"""Claims on steps inside a range; other steps lead from the next lower range."""


class Reach(enum.IntEnum):
    """How far around its own range a claim looks."""

    RANGE = 0
    STEP = 1
    """Also the next lower range."""
    CHANNEL = 2
    """Every range of the channel that the session asks for."""
    ACROSS = 3
    """The same range of every channel."""
    RUN = 4
    """Every range that the session asks for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SuiteClaim:
    """One requirement on one range of one channel, on a channel as a whole, or on the run."""

    channel: int | None
    """None for what is claimed of the run."""
    coarse: int | None
    """None for what is claimed of a whole channel or of the run."""
    item: str
    name: str
    """Such as `ch2-50mV-gain`, `ch2-parameter` or `run-bus-timing`."""
    reach: Reach
    silent: bool = False
    """Something is said about it only where something is wrong."""

    @property
    def place(self) -> tuple[int | None, int | None, str]:
        """Channel, coarse index and item: what its judgements are found by."""
        return self.channel, self.coarse, self.item

    def named(self, ladder: Collection[Range]) -> tuple[Range, ...]:
        """The ranges that choosing this claim alone asks for, in order of the ladder; none for a channel or the run."""
        if self.channel is None or self.coarse is None:
            return ()
        if self.reach is Reach.ACROSS:
            return tuple(one for one in ladder if one[1] == self.coarse)
        own = (self.channel, self.coarse)
        below = [one for one in ladder if one[0] == self.channel and one[1] < self.coarse]
        lower = max(below, key=lambda one: one[1], default=own)
        return tuple(one for one in ladder if one in ((own,) if self.reach is Reach.RANGE else (own, lower)))

    def needed(self, ladder: Collection[Range], wanted: Collection[Range]) -> tuple[Range, ...]:
        """The ranges to be swept before it can be decided, in order of the ladder.

        `wanted` are the ranges that the session's claims name; where they name none of a channel, all of it are meant.
        """
        if self.reach in (Reach.RANGE, Reach.STEP, Reach.ACROSS):
            return self.named(ladder)
        there = [one for one in ladder if self.channel in (None, one[0])]
        return tuple([one for one in there if one in wanted] or there)


def planned_claims(setup: Setup) -> list[SuiteClaim]:
    """The claims that a job's ladder can decide, in the order in which lazy sweeping goes straight through the ladder.

    A range without a lower neighbour has no coarse step, one without readings beside the ladder no claim on them, and
    so on. What looks at a whole channel comes after the channel's ranges, what looks at other channels or the run last.
    """
    settings = [setting for setting, _ in setup.planned()]
    kinds = [kind for kind in CLAIMS if kind.item != "station" and _required(kind, setup)]
    found: list[SuiteClaim] = []
    for channel in dict.fromkeys(setting.channel for setting in settings):
        found += _of_channel(channel, kinds, settings, setup)
    found += [
        SuiteClaim(channel=None, coarse=None, item=kind.item, name=f"run-{kind.item}", reach=Reach.RUN)
        for kind in kinds
        if kind.scope is Scope.RUN
    ]
    return sorted(found, key=lambda claim: (claim.reach is Reach.RUN, claim.reach is Reach.ACROSS))


def by_range(settings: Iterable[Setting]) -> tuple[Range, ...]:
    """The ranges of some settings, each once, in their order."""
    return tuple(dict.fromkeys((setting.channel, setting.coarse) for setting in settings))


def index_of(judgements: Iterable[Judgement]) -> dict[tuple[int | None, int | None, str], list[Judgement]]:
    """Judgements by the place of their claim; a step belongs to the range of its upper setting."""
    whole = {kind.item for kind in CLAIMS if kind.scope in (Scope.CHANNEL, Scope.PARAMETER)}
    found: dict[tuple[int | None, int | None, str], list[Judgement]] = {}
    for judgement in judgements:
        of = judgement.setting
        channel = of.channel if of else None
        coarse = of.coarse if of and judgement.item not in whole else None
        found.setdefault((channel, coarse, judgement.item), []).append(judgement)
    return found


def _of_channel(
    channel: int, kinds: Sequence[ClaimKind], settings: Sequence[Setting], setup: Setup
) -> list[SuiteClaim]:
    own = [setting for setting in settings if setting.channel == channel]
    of_ranges = [
        SuiteClaim(
            channel=channel,
            coarse=coarse,
            item=kind.item,
            name=f"ch{channel}-{setup.device.coarse[coarse].name}-{kind.item}",
            reach=_reach(kind),
            silent=kind.silent,
        )
        for _, coarse in by_range(own)
        for kind in kinds
        if kind.scope in (Scope.SETTING, Scope.STEP, Scope.RANGE)
        and _exercised(kind, (channel, coarse), settings, setup)
    ]
    of_all = [
        SuiteClaim(channel=channel, coarse=None, item=kind.item, name=f"ch{channel}-{kind.item}", reach=Reach.CHANNEL)
        for kind in kinds
        if kind.scope in (Scope.CHANNEL, Scope.PARAMETER)
        if _fit_possible(kind, own) and _codes_shown(kind, own, setup)
    ]
    return [*sorted(of_ranges, key=lambda claim: claim.reach > Reach.STEP), *of_all]


def _required(kind: ClaimKind, setup: Setup) -> bool:
    return not kind.in_limits or any(limit.item == kind.item for limit in setup.limits.values())


def _reach(kind: ClaimKind) -> Reach:
    # Realness compares all settings of a channel whose hardware was told the same.
    if Need.FIT in kind.needs or kind.item == "realness":
        return Reach.CHANNEL
    if Need.CHANNELS in kind.needs:
        return Reach.ACROSS
    return Reach.STEP if kind.scope is Scope.STEP and kind.item not in FINE_STEPS else Reach.RANGE


def _exercised(kind: ClaimKind, place: Range, settings: Collection[Setting], setup: Setup) -> bool:
    channel, coarse = place
    if kind.purposes:
        return any(
            rung.purpose in kind.purposes and (rung.setting.channel, rung.setting.coarse) == place
            for rung in setup.extras
            if setup.limits.at(kind.item, rung.setting) is not None
            and (not kind.of_hardware or rung.prediction.state.arithmetic_ratio == 1.0)
        )
    if Need.CHANNELS in kind.needs:
        return any(setting.channel != channel and setting.coarse == coarse for setting in settings)
    own = [setting for setting in settings if setting.channel == channel]
    here = {setting.fine for setting in own if setting.coarse == coarse}
    if kind.item in FINE_STEPS:
        return len(here) > 1
    if kind.scope is Scope.STEP:
        return any(setting.coarse < coarse and setting.fine in here for setting in own)
    return _fit_possible(kind, own)


def _codes_shown(kind: ClaimKind, own: Collection[Setting], setup: Setup) -> bool:
    """Whether a channel has the hardware settings that show every code."""
    if Need.CODES not in kind.needs:
        return True
    arithmetic = {index for index, coarse in enumerate(setup.device.coarse) if coarse.arithmetic_ratio != 1.0}
    hardware = [setting for setting in own if setting.coarse not in arithmetic]
    codes = 2**setup.device.converter.bits
    return len(hardware) >= records_needed(codes, setup.device.acquisition.samples)


def _fit_possible(kind: ClaimKind, own: Collection[Setting]) -> bool:
    return Need.FIT not in kind.needs or len(own) >= LEAST_SETTINGS
