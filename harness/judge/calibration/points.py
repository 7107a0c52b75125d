"""From the readings of a run to one calibration point for each setting: measured gain beside the displayed one."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from harness.config import DeviceFile
from harness.errors import UsageError
from harness.judge.averaged import Averaged
from harness.judge.fitted import reading_u_percent
from harness.judge.level import by_meter
from harness.judge.measured import Measured, measure
from harness.judge.rows import Gathered
from harness.law import GainLaw
from harness.values import Codes, Purpose, Reading, ReadingStatus, Setting

SAME_SCALE_RATIO = 1e-6
"""How far two displayed scales of one setting may be apart: the last digits of an answer."""
LEAST_NOISE_CODE = 1.0 / math.sqrt(12.0)
"""Rounding to codes, which a quiet record may not show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationPoint:
    """What one setting of one unit measured and displayed."""

    setting: Setting
    label: str
    """For people, such as `ch2 50mV 70 %`."""
    measured_codes_per_v: float
    """Mean of the valid readings, arithmetic included."""
    displayed_v_per_code: float
    """As the device said beside the codes, its own constants included."""
    u_percent: float
    """Standard uncertainty of the measured gain."""
    own_u_percent: float
    """The same without what all readings of the run share, such as the source's accuracy."""
    offset_code: float
    """Output code that stands for 0 V, mean of the valid readings."""
    u_offset_code: float
    """Its standard uncertainty."""
    noise_code: float
    """Rms residual of the fits, output codes."""

    @property
    def gain_ratio(self) -> float:
        """Measured gain over displayed gain: volts displayed for each volt at the input."""
        return self.measured_codes_per_v * self.displayed_v_per_code


def measured_points(
    readings: Iterable[Reading],
    *,
    law: GainLaw,
    device: DeviceFile,
    input_ratio: float,
    terminal_ratio: float = 1.0,
    known_u_percent: Mapping[Setting, float] | None = None,
) -> tuple[CalibrationPoint, ...]:
    """What every setting of a run measured, beside what the device displayed.

    Args:
        readings: of one run, any attempts, in order of recording.
        law: of the device.
        device: for rails and test frequency.
        input_ratio: volts at the device's input per volt that the source is set to.
        terminal_ratio: volts at the source's terminals, where a meter hangs, per volt that the source is set to.
        known_u_percent: standard uncertainty of the absolute gain by setting, from a budget; where there is none the
            scatter of the readings alone is taken.
    Returns:
        one point for each setting with a valid reading, in order of channel, coarse, fine. As in the run's judgement
        several records of a reading are its mean, and one that was read twice counts once; raw data that were dropped
        are not missed.
    Raises:
        UsageError: a setting displayed two scales within the run, so that its constants changed on the way.
    Source:
        gain is a ratio of fitted amplitudes (IEEE Std 1057, three-parameter fit); the mean of an offset has variance
        (σ² + 1/12)/N, with the scatter between readings on top (JCGM 100:2008, 4.2.3).
    """
    found: dict[Setting, list[Measured]] = {}
    scales: dict[Setting, float] = {}
    for setting, one in _final(readings, device, input_ratio=input_ratio, terminal_ratio=terminal_ratio):
        scale = one.scale_v_per_code
        if one.gain_codes_per_v is None or scale is None:
            continue
        first = scales.setdefault(setting, scale)
        if abs(scale - first) > SAME_SCALE_RATIO * first:
            raise UsageError(
                f"{law.predict(setting).label}: displayed {first:g} V a code, later {scale:g} in the same run: "
                "its constants changed on the way; sweep again"
            )
        found.setdefault(setting, []).append(one)
    budget = known_u_percent or {}
    return tuple(_point(law, setting, found[setting], scales[setting], budget) for setting in sorted(found))


def _final(
    readings: Iterable[Reading], device: DeviceFile, *, input_ratio: float, terminal_ratio: float
) -> Iterator[tuple[Setting, Measured]]:
    """Each final reading of the ladder, with the records that it says count together with it."""
    averaged = Averaged()
    previous: Codes | None = None
    for reading in readings:
        before, previous = previous, previous if reading.waveform is None else reading.waveform.codes
        if reading.purpose is not Purpose.LADDER:
            continue
        metered = by_meter(reading, terminal_ratio=terminal_ratio)
        if reading.status is ReadingStatus.AVERAGED:
            averaged.add(metered, device, input_ratio, before)
        elif reading.final:
            last = measure(metered, device=device, bus=None, latches=(), input_ratio=input_ratio, previous=before)
            yield reading.setting, averaged.with_final(metered, last)
        else:
            averaged.forget()


def _point(
    law: GainLaw, setting: Setting, valid: list[Measured], scale: float, budget: Mapping[Setting, float]
) -> CalibrationPoint:
    gathered = Gathered(
        prediction=law.predict(setting), final=tuple(valid), planned=len(valid), attempts=len(valid)
    )  # fmt: skip
    own = reading_u_percent(gathered)
    fits = [one.fit for one in valid if one.fit is not None]
    offsets = [fit.offset_code for fit in fits]
    mean = sum(offsets) / len(offsets)
    count = len(offsets)
    noise = [max(fit.noise_code, LEAST_NOISE_CODE) / math.sqrt(fit.samples) for fit in fits]
    scatter = math.sqrt(sum((offset - mean) ** 2 for offset in offsets) / max(count - 1, 1) / count)
    return CalibrationPoint(
        setting=setting,
        label=gathered.prediction.label,
        measured_codes_per_v=gathered.gain_codes_per_v or math.nan,
        displayed_v_per_code=scale,
        u_percent=budget.get(setting, own),
        own_u_percent=own,
        offset_code=mean,
        u_offset_code=math.hypot(math.hypot(*noise) / count, scatter),
        noise_code=math.sqrt(sum(fit.noise_code**2 for fit in fits) / count),
    )
