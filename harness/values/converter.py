"""What a run shows of converter and front end: figures of each setting, and of each signal path."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ConverterFigures:
    """Figures of one setting; what arithmetic added behind the converter is divided out."""

    sinad_db: float
    """Signal over noise and distortion, at the fill of the reading."""
    enob_bits: float
    """Effective bits of the whole converter by the residual of the reading."""
    used_bits: float
    """Effective bits that the signal uses at its actual fill."""
    noise_in_v: float
    """Noise referred to the input, rms, quantisation included."""
    gap_inner: int
    """Codes strictly between the outermost ones of the record."""
    gap_empty: int
    """How many of them no sample hit."""
    gap_longest: int
    """Length of the longest run of them."""
    gap_share_ratio: float
    """Empty over inner."""
    gap_chance_ratio: float
    """Share that chance alone leaves empty in a record of this length."""
    thd_db: float | None = None
    """Harmonics that the fit took along, together, over the signal, dB; None where none were asked for."""
    hum_db: float | None = None
    """Lines of the mains, likewise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PathFigures:
    """Offset and noise of one channel with the same relays picked, before and after the gain that follows them."""

    channel: int
    path: str
    """The relays picked, for people."""
    settings: int
    offset_before_v: float
    """Referred to the device's input: it grows with the gain."""
    u_offset_before_v: float
    offset_after_code: float
    """At the converter, whatever the gain."""
    u_offset_after_code: float
    noise_before_v: float
    """rms, referred to the device's input."""
    noise_after_code: float
    """rms at the converter, quantisation included."""
