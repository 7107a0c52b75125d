"""Whether control words hold what the stages need: fields that exist, fit, and do not overlap."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from harness.config import Bus, DeviceFile, GainDeviceOnBus, spans
from harness.config.bus_section import Field_
from harness.law.findings import Findings
from harness.law.path import SignalPath
from harness.law.stages import Control


def check_words(device: DeviceFile, path: SignalPath, findings: Findings, *, complete: bool) -> None:
    """Whether each word's fields are controls or relays of the path, as wide as their stage says, each bit used once.

    Args:
        device: shape already checked.
        path: the stages that are known.
        findings: takes the problems.
        complete: whether all stages are known; else a control may belong to one that is not.
    Source:
        none: a check of content.
    """
    bus = device.bus
    if bus is None:
        return
    controls = path.controls()
    gain_devices = [(index, member) for index, member in enumerate(bus.on_bus) if member.channel is not None]
    layouts: dict[str, Sequence[Field_]] = {}
    for index, member in gain_devices:
        layouts[f"bus.on_bus[{index}].layout" if member.layout else "bus.layout"] = member.layout or bus.layout
    relays = frozenset().union(*(stage.law.coils() for stage in path.stages))
    for key, layout in layouts.items():
        _check_spans(key, layout, findings)
        _check_fields(key, layout, controls, relays, findings, complete=complete)
    if device.firmware.code in controls and controls[device.firmware.code].bits is not None:
        for channel in range(1, device.channels + 1):
            members = [(i, m) for i, m in gain_devices if m.channel in (channel, "all")]
            if not _check_channel(bus, members, device.firmware.code, channel, findings):
                break


def _check_channel(
    bus: Bus, members: Sequence[tuple[int, GainDeviceOnBus]], code: str, channel: int, findings: Findings
) -> bool:
    """Whether a channel's words hold the code and each control and relay once."""
    names = [
        field.control or field.relay or ""
        for _, member in members
        for field in member.layout or bus.layout
        if field.fill is None
    ]
    where = "bus.on_bus" if any(member.layout for _, member in members) else "bus.layout"
    if code not in names:
        findings.add(where, ", ".join(names), f"a field for {code!r}, which firmware.code names")
        return False
    again = [name for name, count in Counter(names).items() if count > 1]
    if again and len(members) > 1:
        findings.add("bus.on_bus", f"{again[0]!r} in two words of channel {channel}", "each control once in a channel")
        return False
    return True


def _check_spans(key: str, layout: Sequence[Field_], findings: Findings) -> None:
    placed = sorted((span, index) for index, span in enumerate(spans(tuple(layout))))
    end = 0
    for (start, stop), index in placed:
        if start < end:
            got = f"bits {start} to {stop - 1}, where another field lies already"
            findings.add(f"{key}[{index}].at", got, f"{end} or more: fields must not overlap")
        elif start > end:
            got = f"bits {end} to {start - 1} without a field"
            findings.add(f"{key}[{index}].at", got, f"{end}, or a field with fill = 0 in between")
        end = max(end, stop)


def _check_fields(
    key: str,
    layout: Sequence[Field_],
    controls: Mapping[str, Control],
    relays: frozenset[str],
    findings: Findings,
    *,
    complete: bool,
) -> None:
    wordable = [name for name, control in controls.items() if control.bits is not None]
    seen: set[str | None] = set()
    for index, entry in enumerate(layout):
        if entry.fill is not None:
            continue
        place, name = f"{key}[{index}]", entry.control or entry.relay
        if name in seen:
            what = "control" if entry.control else "relay"
            findings.add(f"{place}.{what}", f"{name!r} again", f"each {what} once")
        elif entry.relay is not None:
            if complete and entry.relay not in relays:
                allowed = "one of " + ", ".join(sorted(relays)) if relays else "none: no stage names its relays"
                findings.add(f"{place}.relay", f"{entry.relay!r}, a relay that no stage has", allowed)
        elif entry.control in wordable:
            bits = controls[entry.control].bits
            if bits != entry.bits:
                findings.add(f"{place}.bits", str(entry.bits), f"{bits}, as its stage says")
        elif complete or entry.control in controls:
            allowed = "one of " + ", ".join(wordable) if wordable else "none: no stage has such a control"
            findings.add(f"{place}.control", f"{entry.control!r}, no number that a stage names", allowed)
        seen.add(name)
