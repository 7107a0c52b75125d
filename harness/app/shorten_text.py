"""What `gainladder shorten` says of a short ladder."""

from __future__ import annotations

import dataclasses
from typing import Any

from harness.app.output import result
from harness.app.setup import Setup
from harness.ladder.short import READING_PERCENT, ShortLadder


def short_object(short: ShortLadder, setup: Setup) -> dict[str, Any]:
    """The same as one object."""
    law = setup.law
    rows = {name: list(fine) for name, fine in zip(law.coarse_names, short.fine, strict=True)}
    content = dataclasses.asdict(short) | {"fine": rows, "settings": short.settings}
    return {**content, "full_settings": _whole(setup), "channels": law.channels}


def short_text(short: ShortLadder, setup: Setup, *, detect: int, least_percent: float) -> None:
    """Settings, faults, prediction, and what stays unseen."""
    law, whole = setup.law, _whole(setup)
    share = 100.0 * short.settings / whole
    result(
        f"{setup.device.name}: {short.settings} of {whole} settings a channel, {share:.1f} %; "
        f"{short.settings * law.channels} of {whole * law.channels} on all {law.channels}"
    )
    for name, fine in zip(law.coarse_names, short.fine, strict=True):
        names = ", ".join(f"{position} ({law.fine_names[position]})" for position in fine)
        result(f"  {name:<8} fine {names or 'none'}")
    result(f"\nstructure, {len(short.musts)} demands, all met: each range, both ends, each relay in both states,")
    result("  each bit of the word both ways, both sides of the major carry")
    predicted = "as well as a reading of its own" if short.prediction_percent <= READING_PERCENT else "less well"
    result(
        f"prediction of settings not visited: {short.prediction_percent:.3f} % at the worst, standard uncertainty, "
        f"{predicted}; from the whole ladder {short.full_prediction_percent:.3f} %"
    )
    if not short.shown:
        return
    result(f"\nfaults of the dictionary; gains that are off by {least_percent:.3g} % show one, and so do wrong words.")
    result("Settings of a channel that show the entry which is hardest to see:")
    result(f"  {'fault':<34} {'entries':>7} {'here':>5} {'whole ladder':>13}")
    for one in short.shown:
        few = "" if not one.short_of else f"  fewer than {detect}: {', '.join(one.short_of)}"
        result(f"  {one.fault:<34} {one.entries:>7} {one.least:>5} {one.full:>13}{few}")
    result("\nnot seen: wrong rows of a table at settings that are not visited; ladder.audit_every walks everything on")
    result("one unit of so many. Faults without a pattern in gain or word show as on any ladder, or beside it.")


def _whole(setup: Setup) -> int:
    return len(setup.law.coarse_names) * len(setup.law.fine_names)
