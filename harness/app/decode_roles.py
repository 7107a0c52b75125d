"""Line roles found from captures themselves, for a bus without a wiring file."""

from __future__ import annotations

from pathlib import Path

from harness.bus import Found, Roles
from harness.errors import UsageError


def label_of(text: str) -> tuple[int | None, float | None, Path]:
    """CHANNEL:RANK=FILE; UsageError for anything else."""
    label, equals, path = text.partition("=")
    channel, colon, rank = label.partition(":")
    try:
        if not (equals and colon and path):
            raise ValueError
        return int(channel) if channel else None, float(rank) if rank else None, Path(path)
    except ValueError as error:
        raise UsageError(f"--labelled {text!r}: allowed is CHANNEL:RANK=FILE, such as 1:40=ch1-40.csv") from error


def role_rows(roles: Roles) -> tuple[tuple[str, Found], ...]:
    """Question and answer, in the order in which they can be asked."""
    rows = [("clock", roles.clock), ("data", roles.data)]
    rows += [("clock edge", roles.clock_edge), ("latch edge", roles.latch_edge)]
    rows += [(f"latch {k + 1}", latch) for k, latch in enumerate(roles.latches)]
    rows += [(f"bits of {latch.value}", bits) for latch, bits in zip(roles.latches, roles.bits, strict=True)]
    rows.append(("first bit", roles.first_bit))
    rows += [(f"channel {channel}", found) for channel, found in roles.channels]
    return tuple(rows)


def roles_text(roles: Roles) -> list[str]:
    """What was found, line by line, each with its evidence."""
    return [f"{name:<18} {a.value or '-':<18} {a.confidence_ratio:>4.0%}  {a.evidence}" for name, a in role_rows(roles)]
