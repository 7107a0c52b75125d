"""From one raw reading to numbers: amplitude, code-domain gain, words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from harness.amplitude import CodeGaps, Flag, check_quality, code_gaps
from harness.bus import BusTally, BusWiring
from harness.config import DeviceFile
from harness.errors import MeasureError
from harness.judge.flags import record_flags
from harness.judge.frame_count import WRONG_LATCH, elsewhere, surplus_of
from harness.judge.level import level_flag
from harness.judge.record_fit import RecordFit, fit_record
from harness.values import Codes, ControlWord, Decoding, Direction, Quality, Reading, ReadingStatus, SineFit

SOUND = (ReadingStatus.VALID, ReadingStatus.AVERAGED)
"""Whose record carries a gain, by itself or together with the records after it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """What the bus said at one reading."""

    value: int | None
    """The word latched into this channel's gain device; None where it is not known."""
    text: str
    """For people: the word in hexadecimal, or what is wrong."""
    sound: bool
    """False when the capture itself is missing or incomplete: no opinion about the device."""
    more: tuple[Captured, ...] = ()
    """Of the channel's other gain devices, in the order of the state's further words."""

    @property
    def surplus(self) -> bool:
        """Whether the word came with more clocks or latches than belong to it; the text says so, a kept one as well."""
        return self.value is not None and self.text.endswith(")")

    def all_values(self, count: int) -> tuple[int | None, ...]:
        """The words of `count` gain devices; None where nothing is known of one."""
        values = (self.value, *(other.value for other in self.more))
        return (*values, *[None] * (count - len(values)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Numbers of one reading."""

    direction: Direction
    status: ReadingStatus
    reason: str
    gain_codes_per_v: float | None
    """Output codes a volt at the input; None unless the reading is sound and could be fitted."""
    drive_vpk: float
    fit: SineFit | None
    quality: Quality | None
    captured: Captured | None
    """None when no words are captured at all."""
    bench_gone: bool = False
    """Whether the reading had no working bench."""
    flags: tuple[Flag, ...] = ()
    """What is remarkable about the record."""
    metered: bool = False
    """Whether the level is the reference meter's."""
    gaps: CodeGaps | None = None
    """Codes that the record never visits, on the converter's own grid."""
    index: int = 0
    """Of the reading, in order of recording."""
    scale_v_per_code: float | None = None
    """Input volts a code, as the device displays them; None without a record."""
    fitted: RecordFit | None = None
    """The fit of its record with all that belongs to it; None without one."""


def measure(
    reading: Reading,
    *,
    device: DeviceFile,
    bus: BusTally | None,
    latches: Sequence[str],
    input_ratio: float,
    previous: Codes | None = None,
) -> Measured:
    """What one reading says in numbers.

    Args:
        reading: raw.
        device: for rails and test frequency.
        bus: decodes the capture, and adds its distances up; None when words are not captured.
        latches: latch lines of the channel's gain devices, the one that holds the fine code first.
        input_ratio: volts at the device's input per volt that the source is set to.
        previous: the codes that were fetched before, to tell a record that was read twice; None for the first.
    Returns:
        the numbers; a record that is missing, stale, clipped, processed or cannot be fitted turns
        a sound reading into an invalid one, with the reason.
    Source:
        fit_record; practice: gain is a ratio of fitted amplitudes, never of screen values.
    """
    gain = None
    status, reason = reading.status, reading.reason
    record = _Record(reason=reason)
    if status in SOUND:
        try:
            record = _read(reading, device, previous)
            reason = record.reason
        except MeasureError as error:
            reason = f"{error.reason}: {error}"
        input_vpk = reading.drive_read_vpk * input_ratio
        if not (reason or (math.isfinite(input_vpk) and input_vpk > 0.0)):
            who = "the source read back" if reading.meter_vpk is None else "the meter reads a level of"
            reason = f"no-level: {who} {reading.drive_read_vpk:g} V peak"
        if reason or record.fit is None:
            status = ReadingStatus.INVALID
        else:
            gain = record.fit.amplitude_code / input_vpk
    return Measured(
        direction=reading.direction,
        status=status,
        reason=reason,
        gain_codes_per_v=gain,
        drive_vpk=reading.drive_read_vpk,
        metered=reading.meter_vpk is not None,
        fit=record.fit,
        quality=record.quality,
        captured=None if bus is None else _captured(reading, bus, latches),
        bench_gone=reading.bench_gone,
        flags=record.flags,
        gaps=record.gaps,
        index=reading.index,
        scale_v_per_code=_scale(reading),
        fitted=record.fitted,
    )


def _scale(reading: Reading) -> float | None:
    if reading.waveform is not None:
        return reading.waveform.scale_v_per_code
    return None if reading.kept is None else reading.kept.scale_v_per_code


def most_gains(reading: Reading, *, device: DeviceFile, input_ratio: float) -> tuple[float, ...]:
    """What gain the whole span of a record allows for at most.

    Args:
        reading: one that another try has replaced, because it clipped or hardly filled the converter.
        device: its converter; a record that touches a rail shows the rail and not how much there was.
        input_ratio: volts at the device's input per volt that the source is set to.
    Returns:
        codes a volt; none where no level stood at the input or nothing was recorded.
    Source:
        an amplitude is at most half the span from peak to peak.
    """
    input_vpk = reading.drive_read_vpk * input_ratio
    if reading.status is not ReadingStatus.RELEVELLED or reading.waveform is None or not input_vpk > 0.0:
        return ()
    codes, converter = reading.waveform.codes, device.converter
    clipped = codes.size > 0 and (codes.min() <= converter.low_code or codes.max() >= converter.high_code)
    return () if codes.size == 0 or clipped else ((int(codes.max()) - int(codes.min())) / 2.0 / input_vpk,)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Record:
    """What a record says."""

    reason: str
    """Why it may not be judged; empty when it may."""
    fit: SineFit | None = None
    quality: Quality | None = None
    flags: tuple[Flag, ...] = ()
    gaps: CodeGaps | None = None
    fitted: RecordFit | None = None


def _read(reading: Reading, device: DeviceFile, previous: Codes | None) -> _Record:
    wave, kept = reading.waveform, reading.kept
    if wave is None and kept is not None:
        return _Record(reason=kept.reason, fit=kept.fit, quality=kept.quality)
    if wave is None:
        return _Record(reason="no-record: the reading holds no waveform")
    if wave.mode != "sample":
        return _Record(reason=f"not-plain: acquired in mode {wave.mode!r}; allowed is sample, others hide code gaps")
    acquisition = device.acquisition
    fitted = fit_record(
        wave, read_hz=reading.frequency_hz, planned_hz=acquisition.frequency_hz, terms=acquisition.fit
    )
    fit = fitted.fit
    quality = check_quality(
        wave.codes,
        low_code=device.converter.low_code,
        high_code=device.converter.high_code,
        fill_low=0.0,
        fill_high=1.0,
        amplitude_code=fit.amplitude_code,
    )
    if quality.reason:
        return _Record(reason=quality.reason, fit=fit, quality=quality)
    if fit.amplitude_code <= 0.0:
        return _Record(reason="no-signal: the record holds no sine at the test frequency", fit=fit, quality=quality)
    flags = (*record_flags(wave, fitted, quality, previous=previous), *fitted.flags)
    off = level_flag(reading)
    flags = flags if off is None else (*flags, off)
    step = quality.code_spacing
    return _Record(
        reason=next((f"{flag.name}: {flag.reason}" for flag in flags if flag.severity == "invalid"), ""),
        fit=fit,
        quality=quality,
        flags=flags,
        gaps=code_gaps((wave.codes - wave.codes.min()) // step, amplitude_code=fit.amplitude_code / step),
        fitted=fitted,
    )


def _captured(reading: Reading, bus: BusTally, latches: Sequence[str]) -> Captured:
    if reading.capture is None and reading.kept is not None and reading.kept.words:
        first, *others = [Captured(value=it.value, text=it.text, sound=it.sound) for it in reading.kept.words]
        return replace(first, more=tuple(others))
    if reading.capture is None:
        return Captured(value=None, text=reading.capture_reason or "no capture", sound=False)
    try:
        decoding = bus.decode(reading.capture, number=reading.index)
    except MeasureError as error:
        return Captured(value=None, text=f"{error.reason}: {error}", sound=False)
    if not decoding.complete:
        return Captured(value=None, text="the adapter dropped events", sound=False)
    first, *others = [_of_latch(decoding, latch, bus.wiring) for latch in latches]
    return replace(first, more=tuple(others))


def _of_latch(decoding: Decoding, latch: str, wiring: BusWiring) -> Captured:
    word = decoding.last(latch)
    if word is None:
        detail = "no edge on any line" if decoding.clock_edges == 0 else "the bus was clocked, this latch did not fire"
        others = elsewhere(decoding, latch)
        away = f" {WRONG_LATCH} {', '.join(others)}" if others else ""
        return Captured(value=None, text=f"no latch ({detail}){away}", sound=True)
    if word.value is None:
        return Captured(value=None, text=word.note or "unknown word", sound=True)
    text, surplus = str(ControlWord(latch, word.bits, word.value)), surplus_of(decoding, word, latch, wiring)
    said = f"{text} {word.note} ({surplus})" if surplus else f"{text} {word.note}".strip()
    return Captured(value=word.value, text=said, sound=True)
