"""Records of scaled volts that somebody kept: codes by their common spacing, then fill, clip, gain, noise in codes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

import numpy as np
import numpy.typing as npt

from harness.amplitude import check_quality, fit_sine4
from harness.config import SettingsFile
from harness.errors import MeasureError, UsageError
from harness.learn.gains_csv import Recorded
from harness.learn.readings import OWN_RATIO, Gathered
from harness.values import Setting, common_spacing

FILL_LOW, FILL_HIGH = 0.05, 0.95
"""Between these a kept record is taken; nobody can take it again at another level."""

Volts = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltRecord:
    """What a record of scaled volts shows."""

    gain_codes_per_v: float | None
    """None where it shows none."""
    u_ratio: float
    step_v: float | None
    """Volts a code; None where the values have no spacing in common."""
    noise_code: float | None
    """rms, codes."""
    why: str
    """Why it shows no gain; empty where it does."""


def volts_of(text: str, *, file: str) -> Volts:
    """The values of a record.

    Args:
        text: of the file, one value a line, V; lines that begin with # are left out.
        file: for messages.
    Returns:
        shape (n,).
    Raises:
        UsageError: a line is no finite number; with its number and what to do.
    Source:
        none: reading.
    """
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.startswith("#"):
            continue
        try:
            value = float(line)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            allowed = "allowed is one finite number, V: mend it, or leave the record out of the CSV"
            raise UsageError(f"{file}: line {number}: got {line.strip()[:40]!r}; {allowed}")
        found.append(value)
    return np.asarray(found, dtype=np.float64)


def measured(values_v: Volts, *, input_vpk: float, settings: SettingsFile) -> VoltRecord:
    """The gain of one record.

    Args:
        values_v: shape (n,), finite.
        input_vpk: level at the device's input, V peak.
        settings: for converter, sample rate and test frequency.
    Returns:
        gain in codes a volt; or why there is none: no common spacing, codes that the converter does not have, a record
        that clips or hardly moves, no sine.
    Source:
        least common spacing; sine fit of four parameters, IEEE Std 1057.
    """
    found, converter = common_spacing(values_v), settings.converter
    if found.step is None:
        return _none(f"its volts show no codes: {found.proof}")
    codes = found.codes(values_v)
    low, high = int(codes.min()), int(codes.max())
    if low < converter.low_code or high > converter.high_code:
        allowed = f"{converter.low_code} to {converter.high_code}"
        return _none(f"the spacing of its volts makes codes {low} to {high}; the converter has {allowed}", found.step)
    try:
        quality = check_quality(
            codes.astype(np.int16), low_code=converter.low_code, high_code=converter.high_code,
            fill_low=FILL_LOW, fill_high=FILL_HIGH, amplitude_code=None,
        )  # fmt: skip
        if quality.clipped or quality.underfilled:
            return _none(quality.reason, found.step)
        acquisition = settings.acquisition
        fit = fit_sine4(
            codes.astype(np.int16), sample_rate_hz=acquisition.sample_rate_hz, frequency_hz=acquisition.frequency_hz
        )
    except MeasureError as error:
        return _none(str(error), found.step)
    variance = 2.0 * fit.noise_code**2 / (fit.samples * fit.amplitude_code**2)
    return VoltRecord(
        gain_codes_per_v=fit.amplitude_code / input_vpk, u_ratio=math.sqrt(variance + OWN_RATIO**2), step_v=found.step,
        noise_code=fit.noise_code, why="",
    )  # fmt: skip


def _none(why: str, step_v: float | None = None) -> VoltRecord:
    return VoltRecord(gain_codes_per_v=None, u_ratio=OWN_RATIO, step_v=step_v, noise_code=None, why=why)


def with_gains(recorded: Sequence[Recorded], found: Mapping[Setting, VoltRecord]) -> tuple[Recorded, ...]:
    """Lines of a CSV with the gains of their records.

    Args:
        recorded: lines.
        found: by setting, where a line has a record.
    Returns:
        the lines, those with a record with its gain.
    Source:
        none: bookkeeping.
    """
    return tuple(
        replace(one, gain_codes_per_v=record.gain_codes_per_v, u_ratio=record.u_ratio)
        if (record := found.get(one.setting)) is not None else one
        for one in recorded
    )  # fmt: skip


def with_spacings(gathered: Gathered, found: Mapping[Setting, VoltRecord]) -> Gathered:
    """The same with why records showed no gain, and what their codes are worth.

    Args:
        gathered: of the lines with their gains.
        found: by setting.
    Returns:
        with the spacing of each range, median of its records.
    Source:
        none: bookkeeping.
    """
    unread = tuple((s, found[s].why if s in found and found[s].why else why) for s, why in gathered.unread)
    steps: dict[int, list[float]] = {}
    for setting, record in found.items():
        if record.step_v is not None:
            steps.setdefault(setting.coarse, []).append(record.step_v)
    spacings = {coarse: median(of_range) for coarse, of_range in sorted(steps.items())}
    noises = [record.noise_code for record in found.values() if record.noise_code is not None]
    return replace(gathered, unread=unread, spacings_v=spacings, noise_code=median(noises) if noises else None)
