"""What a device told of itself as parts of a settings file, and held against one that was given."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from harness.config import SettingsFile
from harness.errors import Problem
from harness.values import Surveyed

SAME = 1e-6
"""Positions, scales and codes a volt nearer than this, relative, are the same."""
ASKED = ("channels", "converter", "coarse", "fine")
"""Tables and keys of a settings file that a device may tell."""
USUAL: Mapping[str, Any] = {
    "acquisition": {"sample_rate_hz": 500.0e3, "samples": 4000, "cycles": 17},
    "settle": {"coarse_s": 0.05, "fine_s": 0.01},
}
"""Chosen where nobody says anything: a record of 8 ms at 2.1 kHz, and waits that relays need."""
ADAPTER_LINES = tuple(f"input-{number}" for number in range(1, 9))
SCALES = ((1.0, "V"), (1e-3, "mV"), (1e-6, "uV"))
MOST_NAMED = 12


def completed(given: Mapping[str, Any], told: Surveyed) -> dict[str, Any]:
    """A settings file with what it lacks taken from the device.

    Args:
        given: tables of a settings file, some or all of them left out.
        told: what the device says of itself.
    Returns:
        the tables; what neither has is left out, for the file's own check to name.
    Source:
        none: the same content.
    """
    found = dict(given)
    if told.channels is not None:
        found.setdefault("channels", told.channels)
    if told.converter is not None:
        one = told.converter
        found.setdefault("converter", {
            "bits": one.bits, "low_code": one.low_code, "high_code": one.high_code, "codes_per_v": one.codes_per_v,
        })  # fmt: skip
    if told.coarse:
        found.setdefault("coarse", _ranges(told))
    if told.fine:
        found.setdefault("fine", _fine(told))
    return found


def _ranges(told: Surveyed) -> list[dict[str, Any]]:
    """Least sensitive first where the device names full scales; else in its own order, which scouting checks."""
    if not told.coarse_is_scale:
        return [{"name": _name(value), "value": value} for value in told.coarse]
    scales = sorted((value for value in told.coarse if isinstance(value, float)), reverse=True)
    return [{"name": volts(scale), "full_scale_vpp": scale} for scale in scales]


def _fine(told: Surveyed) -> dict[str, Any]:
    ordered = sorted(told.fine, reverse=told.fine_is_percent)
    unit = "percent" if told.fine_is_percent else "db"
    return {f"first_{unit}": ordered[0], f"last_{unit}": ordered[-1], "count": len(ordered)}


def _name(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.10g}"


def volts(scale_v: float) -> str:
    """A range by its full scale, such as 500mV.

    Args:
        scale_v: V, > 0.
    Returns:
        the name.
    Source:
        none: naming.
    """
    factor, unit = next((one for one in SCALES if scale_v >= one[0] * (1.0 - SAME)), SCALES[-1])
    return f"{scale_v / factor:.6g}{unit}"


def told_problems(told: Surveyed, *, device: str) -> Iterator[Problem]:
    """What of a device's answers no settings file can hold.

    Args:
        told: what the device says of itself.
        device: its name, for messages.
    Yields:
        one problem for each answer, with what to do.
    Source:
        none: comparison.
    """
    todo = "give a settings file with"
    if told.coarse_is_scale and not all(isinstance(value, float) and value > 0.0 for value in told.coarse):
        allowed = f"full scales above 0, V peak to peak; or {todo} [[coarse]]"
        yield Problem(file=device, key="coarse_list_query", got=_listed(told.coarse), allowed=allowed)
    if told.fine_is_percent and any(value <= 0.0 for value in told.fine):
        allowed = f"shares of the full scale above 0 %; or {todo} [fine]"
        yield Problem(file=device, key="fine_list_query", got=_listed(told.fine), allowed=allowed)
    ordered = sorted(told.fine)
    steps = [after - before for before, after in itertools.pairwise(ordered)]
    if steps and max(steps) - min(steps) > SAME * max(abs(ordered[0]), abs(ordered[-1])):
        got = f"steps from {min(steps):.6g} to {max(steps):.6g} in {_listed(told.fine)}"
        yield Problem(file=device, key="fine_list_query", got=got, allowed=f"steps of one size; or {todo} [fine]")


def contradictions(settings: SettingsFile, told: Surveyed, *, file: str) -> Iterator[Problem]:
    """Where a settings file names what the device does not have.

    Args:
        settings: as given; it may leave out some of what the device has.
        told: what the device says of itself.
        file: of the settings, for messages.
    Yields:
        one problem for each contradiction.
    Source:
        none: comparison.
    """
    if told.channels is not None and settings.channels > told.channels:
        allowed = f"up to {told.channels}: the device has so many"
        yield Problem(file=file, key="channels", got=str(settings.channels), allowed=allowed)
    for index, entry in enumerate(settings.coarse):
        wanted = entry.full_scale_vpp if entry.value is None else entry.value
        if told.coarse and (wanted is None or not _holds(told.coarse, wanted)):
            got = "neither value nor full_scale_vpp" if wanted is None else _name(wanted)
            allowed = f"what the device lists: {_listed(told.coarse)}"
            yield Problem(file=file, key=f"coarse[{index}]", got=got, allowed=allowed)
    if settings.fine is not None and told.fine:
        positions = settings.fine.positions() if _same_unit(settings, told) else ()
        strange = [position for position in positions if not _holds(told.fine, position)]
        if strange or not positions:
            got = _listed(strange) if positions else ("dB" if settings.fine.in_db else "percent")
            yield Problem(file=file, key="fine", got=got, allowed=f"what the device lists: {_listed(told.fine)}")
    yield from _facts(settings, told, file)


def _same_unit(settings: SettingsFile, told: Surveyed) -> bool:
    return settings.fine is not None and settings.fine.in_db != told.fine_is_percent


def _facts(settings: SettingsFile, told: Surveyed, file: str) -> Iterator[Problem]:
    if (one := told.converter) is not None:
        known = settings.converter
        same = (known.bits, known.low_code, known.high_code) == (one.bits, one.low_code, one.high_code)
        if not same or not math.isclose(known.codes_per_v, one.codes_per_v, rel_tol=SAME):
            got = f"{known.bits} bits from {known.low_code}, {known.codes_per_v:g} codes/V"
            allowed = f"what the device says: {one.bits} bits from {one.low_code}, {one.codes_per_v:g} codes/V"
            yield Problem(file=file, key="converter", got=got, allowed=allowed)
    ohm = settings.input.impedance_ohm
    if told.input is not None and not math.isclose(ohm, told.input.impedance_ohm, rel_tol=SAME):
        allowed = f"what the device says: {told.input.impedance_ohm:g}"
        yield Problem(file=file, key="input.impedance_ohm", got=f"{ohm:g}", allowed=allowed)


def _holds(listed: Sequence[float | str], wanted: float | str) -> bool:
    if isinstance(wanted, str):
        return wanted.upper() in (str(value).upper() for value in listed)
    return any(
        math.isclose(value, wanted, rel_tol=SAME, abs_tol=SAME) for value in listed if isinstance(value, float)
    )


def _listed(values: Sequence[float | str]) -> str:
    shown = ", ".join(map(_name, values[:MOST_NAMED]))
    return shown + (f", ... ({len(values)} in all)" if len(values) > MOST_NAMED else "")


def least_limit(impedance_ohm: float, limits_vpk: Mapping[str, float | None]) -> tuple[dict[str, Any], str]:
    """The input limit that holds: the lowest of those that were said.

    Args:
        impedance_ohm: of the input.
        limits_vpk: V peak by who said it; None where nothing was said.
    Returns:
        the [input] table, and who said the limit.
    Source:
        none: the careful one of several answers.
    """
    known = {who: limit for who, limit in limits_vpk.items() if limit is not None}
    who = min(known, key=lambda one: known[one])
    return {"impedance_ohm": impedance_ohm, "limit": [{"impedance_ohm": impedance_ohm, "max_vpk": known[who]}]}, who
