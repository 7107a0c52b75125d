"""What a claim is: its item, unit and scope, what it needs, and the function that makes its judgements."""

from __future__ import annotations

import enum
from collections.abc import Callable
from dataclasses import dataclass

from harness.judge.claims.context import Context
from harness.values import Judgement, Purpose


class Scope(enum.StrEnum):
    """What one judgement of a claim is about."""

    SETTING = "setting"
    STEP = "step"
    CHANNEL = "channel"
    RANGE = "range"
    PARAMETER = "parameter"
    RUN = "run"


class Need(enum.StrEnum):
    """What must have been measured for a claim to say anything."""

    READINGS = "readings"
    """Of the ladder."""
    WORDS = "words"
    """Captures of the control bus."""
    FIT = "fit"
    """The law fitted to a channel's readings."""
    CODES = "codes"
    """Of so many hardware settings that each code is owed several hits."""
    CHANNELS = "channels"
    """More than one channel at the same setting."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimKind:
    """The description of one claim."""

    item: str
    """Name in limits files and judgements."""
    unit: str
    """Of its numbers; empty for a claim that is met or not."""
    scope: Scope
    """Judgements about settings and steps count in the rows of these; all others count in the run's verdict alone."""
    needs: frozenset[Need]
    """Of the ladder; empty where `purposes` are all."""
    judge: Callable[[Context], tuple[Judgement, ...]]
    """From the shared context to judgements, in order of the ladder."""
    limits_elsewhere: bool = False
    """Whether its numbers stand in another file: a row of the limits file then has none, and no unit."""
    purposes: frozenset[Purpose] = frozenset()
    """Readings beside the ladder without which it says nothing; a job that takes none of them does not exercise it."""
    silent: bool = False
    """Whether it says something only where something is wrong: of settings that were read, silence is a PASS."""
    in_limits: bool = True
    """Whether a limits file may hold it; the others are always claimed."""
    of_hardware: bool = False
    """Whether it says nothing of a setting whose gain is arithmetic in part."""
    provisional: bool = False
    """Whether it can be claimed of one reading alone, for a progress line."""
