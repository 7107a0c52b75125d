"""`gainladder faults`: what the simulated bench can have."""

from __future__ import annotations

import click

from harness.app.options import json_option


@click.command()
@json_option
def command(as_json: bool) -> int:
    """List the faults that a simulated bench can have: name, what it does, how it shows."""
    import dataclasses

    from harness.app.output import result, result_json
    from harness.simulated import catalogue

    entries = catalogue()
    if as_json:
        result_json([dataclasses.asdict(entry) for entry in entries])
        return 0
    for entry in entries:
        result(f"{entry.name}  ({entry.kind} fault{'' if entry.takes_channel else ', no channel'})")
        result(f"    does   {entry.does}")
        result(f"    shows  {entry.shows}")
        if entry.size:
            default = "required" if entry.default_size is None else f"default {entry.default_size:g}"
            result(f"    size   {entry.size}; {entry.low:g} to {entry.high:g}, {default}")
    result("use: --fault NAME[:CHANNEL][=SIZE]; without a channel all channels have it")
    return 0
