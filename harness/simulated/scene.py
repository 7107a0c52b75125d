"""What a record finds when it begins: for everything that changes gain with time, frequency or state."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """One channel at the begin of a record."""

    channel: int
    now_s: float
    elapsed_s: float
    """Since power on, sleep included."""
    warmer_k: float
    """Temperature above the reference temperature."""
    since_move_s: float
    """Since relays or word last changed."""
    frequency_hz: float
    picked: frozenset[str]
    word: int
    word_gain_ratio: float
    """Gain behind the relays."""
    own_gain_ratio: float
    """Gain of the whole channel, relays included."""
    other_gain_ratio: float
    """The same of all other channels together, which hang on the same source."""
    most_gain_ratio: float
    """Gain behind the relays at the unit's most sensitive setting."""
