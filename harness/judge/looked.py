"""From a reading to what its record shows of realness."""

from __future__ import annotations

from harness.config import DeviceFile
from harness.errors import MeasureError
from harness.judge.record_fit import RecordFit
from harness.judge.waveform import Record, Seen, see
from harness.values import Reading, SineFit


def look(
    reading: Reading, fit: SineFit | None, *, device: DeviceFile, input_ratio: float, at: RecordFit | None = None
) -> Seen | None:
    """What the record of a reading shows.

    Args:
        reading: raw.
        fit: of its record; None where there is none.
        device: for the test frequency.
        input_ratio: volts at the device's input per volt that the source is set to.
        at: the fit with the frequency that it found; None takes the one read back.
    Returns:
        the record as waveform tests see it; None where they can say nothing of it, such as of one that is too short.
    Source:
        see `see`.
    """
    wave = reading.waveform
    if wave is None or fit is None:
        return None
    try:
        record = Record(
            samples=wave.codes,
            sample_rate_hz=wave.sample_rate_hz,
            frequency_hz=at.frequency_hz if at else reading.frequency_hz or device.acquisition.frequency_hz,
            drive_vpk=reading.drive_read_vpk * input_ratio,
            mode=wave.mode,
        )
        return see(record, fit=fit)
    except MeasureError:
        return None
