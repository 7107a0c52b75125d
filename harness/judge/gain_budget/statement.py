"""What a budget is made from, beside the readings: the stated numbers of bench and device."""

from __future__ import annotations

from dataclasses import dataclass

from harness.config import BenchFile, BenchUncertainty, DeviceFile, DeviceUncertainty
from harness.config.bench_file import Wiring

COVERAGE_RATIO = 0.954499736103642
"""Of k = 2 without limit of the degrees of freedom; with few of them Student's factor is larger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """The [uncertainty] tables of a bench and of a device, and the wiring that they are about."""

    bench: BenchUncertainty
    device: DeviceUncertainty
    """Empty where the device file states nothing."""
    wiring: Wiring
    span_code: float
    """From rail to rail of the converter."""
    device_states: bool
    """Whether the device file has the table."""

    @classmethod
    def of(cls, bench: BenchFile, device: DeviceFile) -> Statement | None:
        """What bench and device state.

        Args:
            bench: of the run.
            device: of the run.
        Returns:
            the statement; None where the bench file has no [uncertainty], for then nothing is known of the level.
        Source:
            none: a record.
        """
        if bench.uncertainty is None:
            return None
        return cls(
            bench=bench.uncertainty,
            device=device.uncertainty or DeviceUncertainty(),
            wiring=bench.wiring,
            span_code=float(2**device.converter.bits),
            device_states=device.uncertainty is not None,
        )
