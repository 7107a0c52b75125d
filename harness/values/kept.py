"""What stays of a reading whose raw data were dropped after it was judged."""

from __future__ import annotations

from dataclasses import dataclass

from harness.values.fit import Quality, SineFit


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptWord:
    """What one gain device's latch had taken over, as it was decoded."""

    value: int | None
    """None where it was not known."""
    text: str
    sound: bool
    """False when the capture itself was missing or incomplete."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """The numbers that the raw data gave, and what was decided on them."""

    rule: str
    """Of the job, by which they were dropped."""
    at_utc: str
    outcome: str
    """Of the reading's setting when it was judged."""
    limits_sha256: str
    """Of the limits file that it was judged by."""
    reason: str
    """Why the record could not be judged; empty when it could."""
    fit: SineFit | None
    quality: Quality | None
    words: tuple[KeptWord, ...]
    """That of the fine code first; empty where no words were captured."""
    scale_v_per_code: float | None
    """Input volts a code, as the device displayed them."""
