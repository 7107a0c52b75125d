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
        values = dataclasses.asdict(entry)
        result(f"{values.pop('name')}")
        for key, value in values.items():
            result(f"    {key.replace('_', ' ')}: {value}")
    return 0
