"""A bench file that reaches a simulated bench served by another process: real links, addresses filled in."""

from __future__ import annotations

import os
from collections.abc import Mapping

from harness.app.files import beside
from harness.app.setup import BenchSetup
from harness.app.version import version
from harness.config.bench_file import AggressorSlot, Wiring


def live_bench_text(setup: BenchSetup, addresses: Mapping[str, str], serials: Mapping[str, str], path: str) -> str:
    """TOML of a bench without a [simulation] section, for `--bench`."""
    bench = setup.file
    lines = [
        f"# Written by gainladder {version()}: reaches the bench {os.path.basename(setup.path)} while it is served.",
        'kind = "bench"',
        f"version = {bench.version}",
        f'name = "{bench.name}, served"',
        f'device_file = "{_moved(setup.path, bench.device_file, path)}"' if bench.device_file else "",
        f"max_level_vpk = {bench.max_level_vpk!r}",
        f"self_check_percent = {bench.self_check_percent!r}",
    ]
    for change in bench.change:
        lines += [
            "", "[[change]]", f"version = {change.version}", f"date = {change.date.isoformat()}",
            f'owner = "{change.owner}"', f'reason = "{change.reason}"',
        ]  # fmt: skip
    for role in ("source", "device", "adapter", "meter", "aggressor"):
        slot = setup.slot(role)
        if slot is not None:
            lines += [
                "", f"[{role}]", f'profile = "{_moved(setup.path, slot.profile, path)}"',
                f'address = "{addresses[role]}"', f'serial = "{serials[role]}"', f"timeout_s = {slot.timeout_s!r}",
            ]  # fmt: skip
        if isinstance(slot, AggressorSlot):
            lines += [f"channel = {slot.channel}", "", "[aggressor.wiring]", *_wiring_lines(slot.wiring)]
    lines += [
        "", "[wiring]", *_wiring_lines(bench.wiring), "",
    ]  # fmt: skip
    return "\n".join(lines)


def _wiring_lines(wiring: Wiring) -> list[str]:
    told = wiring.told_ohm
    return [
        f"source_ohm = {wiring.source_ohm!r}", f"load_ohm = {wiring.load_ohm!r}",
        f"told_ohm = {told!r}" if told != "high-z" else 'told_ohm = "high-z"', f"pad_db = {wiring.pad_db!r}",
    ]  # fmt: skip


def _moved(old_home: str, name: str, new_home: str) -> str:
    """A name relative to one file, made relative to another."""
    target = beside(old_home, name)
    return os.path.relpath(target, os.path.dirname(new_home) or ".").replace(os.sep, "/")
