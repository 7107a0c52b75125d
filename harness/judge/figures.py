"""Converter figures of settings, and offset and noise before and after the gain."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np

from harness.amplitude import (
    effective_bits,
    noise_at_input_v,
    sinad_db,
    split_noise,
    split_offset,
    used_bits,
)
from harness.errors import FitFailed
from harness.judge.rows import Gathered
from harness.values import ConverterFigures, PathFigures, db_from_ratio


def setting_figures(item: Gathered, *, span_code: float) -> ConverterFigures | None:
    """What the first valid reading of a setting shows of the converter.

    Args:
        item: the setting's readings.
        span_code: from rail to rail of the converter.
    Returns:
        the figures; None without a valid reading, or with a record that leaves no residual at all.
    Source:
        IEEE Std 1241 (from memory): SINAD and effective bits take the rms of all n samples, not of n - 3, and all that
        is no signal: lines that the fit took along count as well. The noise at the input is without them.
    """
    first = item.valid[0] if item.valid else None
    if first is None or first.fit is None or first.quality is None or first.gaps is None:
        return None
    fit, quality, gaps = first.fit, first.quality, first.gaps
    step = max(float(quality.code_spacing), item.prediction.state.arithmetic_ratio)
    hum_code, harmonic_code = (first.fitted.hum_code, first.fitted.harmonic_code) if first.fitted else (None, None)
    lines_code = math.hypot(hum_code or 0.0, harmonic_code or 0.0) / math.sqrt(2.0)
    rest_code = fit.noise_code * math.sqrt((fit.samples - 3) / fit.samples)
    residual_code = math.hypot(rest_code, lines_code) / step
    if residual_code <= 0.0 or not first.gain_codes_per_v:
        return None
    fill_ratio = 2.0 * fit.amplitude_code / step / span_code
    return ConverterFigures(
        sinad_db=sinad_db(amplitude_code=fit.amplitude_code / step, residual_code=residual_code),
        enob_bits=effective_bits(span_code=span_code, residual_code=residual_code),
        used_bits=used_bits(span_code=span_code, residual_code=residual_code, fill_ratio=fill_ratio),
        noise_in_v=noise_at_input_v(noise_code=fit.noise_code, gain_codes_per_v=first.gain_codes_per_v),
        gap_inner=gaps.inner,
        gap_empty=gaps.empty,
        gap_longest=gaps.longest,
        gap_share_ratio=gaps.share_ratio,
        gap_chance_ratio=gaps.chance_ratio,
        thd_db=_below(harmonic_code, fit.amplitude_code),
        hum_db=_below(hum_code, fit.amplitude_code),
    )


def _below(line_code: float | None, signal_code: float) -> float | None:
    return db_from_ratio(line_code / signal_code) if line_code else None


def path_figures(
    items: Iterable[Gathered], *, relays_of: Callable[[Gathered], frozenset[str]]
) -> tuple[PathFigures, ...]:
    """How much of offset and noise arises before the gain and how much after it, over the ladder.

    Args:
        items: settings in order of the ladder.
        relays_of: the relays that are picked at a setting: what they switch stands before the gain, and may stand
            behind the place where an offset comes in, so each combination is a path of its own.
    Returns:
        one row for each channel and path with three measured settings or more, of at least two gains.
    Source:
        straight line of offset against gain, and of noise squared against gain squared (judge: split_offset,
        split_noise).
    """
    paths: dict[tuple[int, str], list[Gathered]] = {}
    for item in items:
        if item.valid:
            picked = ", ".join(sorted(relays_of(item))) or "no relay"
            paths.setdefault((item.prediction.setting.channel, picked), []).append(item)
    found = (_path(channel, picked, members) for (channel, picked), members in paths.items())
    return tuple(row for row in found if row is not None)


def _path(channel: int, picked: str, members: list[Gathered]) -> PathFigures | None:
    rows = [
        (m.gain_codes_per_v / step, m.fit.offset_code / step, m.fit.noise_code / step)
        for item in members
        for step in (item.prediction.state.arithmetic_ratio,)
        for m in item.valid
        if m.fit is not None and m.gain_codes_per_v
    ]
    gains, offsets, noises = np.array(rows, dtype=np.float64).reshape(-1, 3).T
    try:
        offset, noise = split_offset(gains, offsets), split_noise(gains, noises)
    except FitFailed:
        return None
    return PathFigures(
        channel=channel,
        path=picked,
        settings=len(members),
        offset_before_v=offset.before_v,
        u_offset_before_v=offset.u_before_v,
        offset_after_code=offset.after_code,
        u_offset_after_code=offset.u_after_code,
        noise_before_v=noise.input_v,
        noise_after_code=noise.converter_code,
    )
