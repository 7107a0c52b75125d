"""`gainladder faults`: what the simulated bench can have."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from harness.app.options import json_option

if TYPE_CHECKING:
    from harness.simulated import FaultEntry

KINDS = {
    "product": "Faults of the unit",
    "station": "Faults of the station: never the unit's",
    "io": "Faults of instruments, links, host and data: never the unit's",
}
USE = """use: --fault NAME[:CHANNEL][/PLACE][=SIZE[,SECOND]][~CHANCE][@RECORD], repeatable; faults add up
  :CHANNEL  a channel, all without it; for faults of links source, device or adapter
  /PLACE    pin: behind the tap of the adapter, at one gain device; bus: where the adapter listens
  ~CHANCE   from 0 to 1 at each event: each word, each record, each answer; without it always (links: once)
  @RECORD   from that acquisition on, counted from 1; the self-check takes the first ones
examples: latch-missing:2   data-bits-swapped=0,1   relay-contact-film~0.5   reply-late:device=2@30"""


@click.command()
@json_option
def command(as_json: bool) -> int:
    """List the faults that a simulated bench can have: name, what it does, how it shows."""
    import dataclasses

    from harness.app.output import result, result_json
    from harness.simulated import SIZES, catalogue

    entries = catalogue()
    if as_json:
        rows = [dataclasses.asdict(e) | {"sizes": dataclasses.asdict(SIZES[e.id])} for e in entries]
        result_json(rows)
        return 0
    for kind, title in KINDS.items():
        result(f"{title}\n")
        for entry in entries:
            if entry.kind == kind:
                for line in _lines(entry, SIZES[entry.id].words()):
                    result(line)
    result(USE)
    return 0


def _lines(entry: FaultEntry, sizes: str) -> list[str]:
    where = "" if entry.takes_channel and not entry.roles else f"  ({', '.join(entry.roles) or 'no channel'})"
    lines = [f"{entry.name}  {entry.id}{where}", f"    does   {entry.does}", f"    shows  {entry.shows}"]
    if entry.needs:
        return [*lines, f"    not yet injectable: needs {entry.needs}", ""]
    if entry.size:
        lines.append(f"    size   {entry.size}; {_span(entry.low, entry.high, entry.default_size)}")
    if entry.second:
        lines.append(f"    and    {entry.second}; {_span(entry.second_low, entry.second_high, entry.default_second)}")
    if entry.places:
        lines.append(f"    place  {' or '.join(entry.places)}; default {entry.default_place}")
    lines.append(f"    try    {sizes}")
    if entry.seam == "process":
        lines.append('    only   in process: transport = "in-process"')
    return [*lines, ""]


def _span(low: float, high: float | None, default: float | None) -> str:
    span = f"from {low:g}" if high is None else f"{low:g} to {high:g}"
    return f"{span}, {'may be left out' if default is None else f'default {default:g}'}"
