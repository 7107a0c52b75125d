"""What the diagnosis may know of a run: every reading, and which requirements were not met."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from harness.diagnosis.catalogue import Sight
from harness.law import GainLaw
from harness.values import Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One reading of a setting, the last attempt of its rung."""

    setting: Setting
    order: int
    """Of recording: greater is later."""
    off_percent: float | None
    """100·ln(measured/predicted) of this reading; None without a valid gain."""
    u_percent: float
    """Standard uncertainty of it, without what is common to all readings."""
    measurable: bool
    """False where no level gave a valid record although the source is proven good."""
    word: int | None
    """The word that the bus latched into the gain device; None where it is not known."""
    sound: bool
    """Whether the capture is complete: without it a missing word says nothing."""
    odd: frozenset[str] = frozenset()
    """Codes of what was odd about the frames, such as `long-frame`: the word is then not what it seems."""
    trouble: str = ""
    """Code of what made the reading invalid; empty for a valid one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A run, as the diagnosis sees it."""

    law: GainLaw
    visits: tuple[Visit, ...]
    captured: bool
    """Whether the run captured control words."""
    failed: Mapping[int, frozenset[str]] = field(default_factory=dict)
    """Items of claims that failed or are inside their guard band, by channel; 0 holds those of no channel."""
    claimed: frozenset[str] = frozenset()
    """Items that the run claimed at all."""
    beside: frozenset[Sight] = frozenset()
    """What the job shows besides, whatever it claims: by its frequencies, its wiring, a golden unit."""
    notes: tuple[str, ...] = ()
    """Texts of the run's journal."""

    @property
    def channels(self) -> tuple[int, ...]:
        """The channels that were read."""
        return tuple(sorted({visit.setting.channel for visit in self.visits}))
