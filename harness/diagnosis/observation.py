"""What the diagnosis may know of one setting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.values import Realness, Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One setting, measured."""

    setting: Setting
    controls: Mapping[str, str | int]
    """Planned controls."""
    relays: frozenset[str]
    """Relays that the range needs."""
    residual_percent: float | None
    """100·ln(measured/predicted); None without a valid gain."""
    expected_word: int
    captured_word: int | None
    capture_sound: bool
    realness: Realness
    declared_ratio: float
