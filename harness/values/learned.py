"""What is known of a device that nobody has documented: all that its story page shows."""

from __future__ import annotations

from dataclasses import dataclass

from harness.values.evidence import Realness
from harness.values.setting import Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedSetting:
    """One setting, as seen and as explained."""

    setting: Setting
    label: str
    word: str
    """Hexadecimal, one for each gain device of the channel; empty without a bus."""
    bits: str
    """0 and 1 as on the wire, first one first, all gain devices in a row; empty without a bus."""
    outside: str
    """Of the bits, those that are no part of the number."""
    code: int | None
    """The number that the law follows; None without a law. Without a bus the fine position plus one."""
    measured_codes_per_v: float | None
    """None where no gain was measured."""
    law_codes_per_v: float | None
    """By the law, arithmetic included; None where it says nothing."""
    u_percent: float | None
    """Standard uncertainty of the law's gain."""
    residual_percent: float | None
    """Measured over law, minus one."""
    realness: Realness
    """Hardware here means that nothing speaks for arithmetic."""
    arithmetic_ratio: float
    why: str
    """Evidence for anything but hardware; empty where there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedStep:
    """From one fine position to the next one that was measured, in one range of one channel."""

    setting: Setting
    """The later one."""
    label: str
    measured_db: float
    law_db: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedLine:
    """One wire of the bus."""

    name: str
    """As the settings file has it."""
    role: str
    """What it is; empty where nobody can tell."""
    evidence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedBit:
    """One bit of the word."""

    place: int
    """On the wire, 0 is the first one."""
    moves: str
    """With what it moves: fine, coarse, both, never."""
    meaning: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedLaw:
    """A law that was tried."""

    shape: str
    behind: float
    """How much worse its criterion is than the best one; above 10 the data decide."""
    left_out_percent: float | None
    """Root mean square error on gains that its fit had not seen; None where it explains none of them."""
    parameters: int
    chosen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedStage:
    """One stage of the signal path."""

    name: str
    kind: str
    sure: str
    """known, likely, guessed."""
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedFact:
    """One sentence of the story."""

    sure: str
    """known, likely, guessed, unknown."""
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedDevice:
    """The whole story."""

    name: str
    source: str
    """What it was learned from: a run of a store, or files."""
    channels: int
    ranges: tuple[str, ...]
    fine: tuple[str, ...]
    law: str
    """The law in one sentence; empty where none explains the gains."""
    sure: str
    left_percent: float | None
    """What the law leaves, rms."""
    settings: tuple[LearnedSetting, ...]
    steps: tuple[LearnedStep, ...]
    lines: tuple[LearnedLine, ...]
    bits: tuple[LearnedBit, ...]
    laws: tuple[LearnedLaw, ...]
    """Best of each shape, best first."""
    stages: tuple[LearnedStage, ...]
    facts: tuple[LearnedFact, ...]
    listened: tuple[tuple[str, str, str], ...]
    """Question, answer, evidence."""
    alike: tuple[tuple[str, str], ...]
    """Ranges with the same words, and what tells them apart."""
