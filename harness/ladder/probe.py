"""Further readings that a finished ladder asks for, planned like those of a job, a kind that is impossible left out."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from harness.config import DeviceFile, Extra
from harness.errors import ConfigError
from harness.ladder.extra import plan_extras
from harness.ladder.ground import Ground
from harness.values import Purpose, Rung

FILLS = (0.4, 0.8)
"""Of the two levels."""
REPEATS = 10
"""Of one setting, and as many after a toggle."""
UPPER_RATIO = 0.2
"""Second frequency over sample rate, about."""
KINDS: dict[Purpose, Callable[[DeviceFile], Extra]] = {
    Purpose.QUIET: lambda device: Extra(quiet=True),
    Purpose.TWO_LEVEL: lambda device: Extra(two_level=FILLS),
    Purpose.SECOND_FREQUENCY: lambda device: Extra(second_frequency_hz=second_frequency_hz(device)),
    Purpose.CROSSTALK: lambda device: Extra(crosstalk_hz=beside_hz(device)),
    Purpose.REPEAT: lambda device: Extra(repeats=REPEATS),
}
"""The table of a job that asks for a purpose."""


def second_frequency_hz(device: DeviceFile) -> float:
    """At which frequency the response of a device is looked at beside its test frequency.

    Args:
        device: its acquisition.
    Returns:
        the highest frequency below a fifth of the sample rate with whole cycles, coprime with the samples, in a record.
    Source:
        coherent sampling: IEEE Std 1057, coprime numbers of cycles and samples.
    """
    samples = device.acquisition.samples
    cycles = next((n for n in range(math.ceil(UPPER_RATIO * samples) - 1, 0, -1) if math.gcd(n, samples) == 1), 1)
    return cycles * device.acquisition.sample_rate_hz / samples


def beside_hz(device: DeviceFile) -> float:
    """At which frequency another channel is driven.

    Args:
        device: its acquisition.
    Returns:
        the next frequency above the test frequency with whole cycles, coprime with the samples, in a record.
    Source:
        as `second_frequency_hz`.
    """
    samples, cycles = device.acquisition.samples, device.acquisition.cycles + 1
    while math.gcd(cycles, samples) != 1:
        cycles += 1
    return cycles * device.acquisition.sample_rate_hz / samples


def probe_rungs(
    ground: Ground, device: DeviceFile, purposes: Sequence[Purpose], channels: Sequence[int]
) -> tuple[Rung, ...]:
    """Which readings a probe takes.

    Args:
        ground: law, source, ladder.
        device: its acquisition.
        purposes: wanted ones; those that neither bench nor ladder can give are left out.
        channels: whose settings are looked at.
    Returns:
        rungs whose index goes on behind the ladder's.
    Source:
        as `plan_extras`: levels that source, bench and device permit, source off before relays move.
    """
    found: list[Rung] = []
    for purpose in purposes:
        if purpose not in KINDS:
            continue
        try:
            planned = plan_extras(ground, KINDS[purpose](device), file="probe")
        except ConfigError:
            continue
        found.extend(rung for rung in planned if rung.setting.channel in channels)
    return tuple(found)
