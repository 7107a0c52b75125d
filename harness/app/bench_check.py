"""What `gainladder check` does: identities, contracts, error queues, interlock; the source stays off."""

from __future__ import annotations

import time
from collections.abc import Iterator

from harness.app.bench_open import open_bench
from harness.app.files import FileSet, beside
from harness.app.setup import read_bench
from harness.bench import Source, Surroundings
from harness.bench.conformance import (
    check_adapter,
    check_clock,
    check_device,
    check_instrument,
    check_meter,
    check_source,
)
from harness.config import DeviceFile
from harness.errors import ConfigError, ConformanceError, RefusedUnsafe, UsageError
from harness.values import conditions_text


def check_bench(
    path: str, *, device_path: str, seed: int | None, faults: tuple[str, ...]
) -> tuple[tuple[str, str], ...]:
    """Every check with what it found; the first failure leaves as an error."""
    files = FileSet()
    setup = read_bench(files, path)
    files.check()
    if setup is None:  # pragma: no cover - check has raised
        raise ConfigError(())
    if not (device_path or setup.file.device_file):
        raise UsageError(f"{path}: names no device_file; name one there or with --device")
    device = files.read(DeviceFile, "device", device_path or beside(path, setup.file.device_file), named_by=path)
    files.check()
    if device is None:  # pragma: no cover - check has raised
        raise ConfigError(())
    found: list[tuple[str, str]] = []
    with open_bench(setup, device, transport=None, seed=seed, faults=faults) as opened:
        bench = opened.bench
        found.append(("mode", opened.mode))
        for role, identity in opened.identities:
            found.append((f"{role} identity", str(identity)))
        check_clock(bench.clock)
        found.append(("clock contract", "kept"))
        for name, instrument in bench.instruments:
            started_s = time.monotonic()
            entries = instrument.drain_errors()
            took_ms = 1000.0 * (time.monotonic() - started_s)
            found.append((f"{name} error queue", "; ".join(entries) or "empty"))
            slow = " - slow: look for a latency timer of the serial port" if took_ms > 10.0 else ""
            found.append((f"{name} round trip", f"{took_ms:.2f} ms{slow}"))
        for name, source in (("source", bench.source), ("aggressor", bench.aggressor)):
            if source is not None:
                check_source(source)
                found.append((f"{name} contract", "kept; load read back as told, output off"))
        check_device(bench.device)
        found.append(("device contract", "kept"))
        if bench.adapter is not None:
            check_adapter(bench.adapter)
            found.append(("adapter contract", "kept"))
        if bench.meter is not None:
            check_meter(bench.meter)
            found.append(("meter contract", "kept"))
        found.append(("interlock", _interlock(bench.source, min(limit.max_vpk for limit in device.input.limit))))
        found.extend(_surroundings(bench.surroundings))
        for name, source in (("source", bench.source), ("aggressor", bench.aggressor)):
            if source is not None:
                source.safe_off()
                found.append((f"{name} output", "off"))
    return tuple(found)


def _surroundings(around: Surroundings) -> Iterator[tuple[str, str]]:
    for name, instrument in (("chamber", around.chamber), ("supply", around.supply), ("probe", around.probe)):
        if instrument is not None:
            check_instrument(instrument)
            yield f"{name} contract", "kept; nothing was set"
    values = around.conditions()
    if values:
        yield "surroundings", conditions_text(values)


def _interlock(source: Source, limit_vpk: float) -> str:
    asked_vpk = 1.5 * limit_vpk
    try:
        source.set_level(asked_vpk)
    except RefusedUnsafe:
        return f"refuses {asked_vpk:g} V peak; the input bears {limit_vpk:g} V peak"
    raise ConformanceError(
        f"the interlock let {asked_vpk:g} V peak pass; the input bears {limit_vpk:g} V peak: do not use this bench"
    )
