"""What `gainladder advise` prints, and the same as an object."""

from __future__ import annotations

import dataclasses
from typing import Any

from harness.app.output import result
from harness.judge.advice import Advice, Choice


def advice_text(advice: Advice, *, basis: str, channel: int, note: str) -> None:
    """Best setting and coarse-only choice, one line each, and what the fine stage gains."""
    result(f"sine of {advice.amplitude_vpk:g} V peak at the input of channel {channel}, by {basis}")
    result(
        f"{'':<12} {'setting':<20} {'fill':>5} {'bits':>6} {'u %':>8}   of it: {'noise':>8} {'non-lin.':>8} {'gain':>8}"
    )
    _line("best", advice.best)
    _beside(advice)
    if note:
        result(f"note: {note}")


def _beside(advice: Advice) -> None:
    coarse = advice.coarse_only
    if coarse is None:
        result("coarse only  no range at its first fine position is known to take the signal")
        return
    _line("coarse only", coarse)
    bits = advice.best.bits_used - coarse.bits_used
    result(
        f"the fine stage is worth {bits:+.2f} bits; uncertainty {advice.best.u_percent / coarse.u_percent:.3f} of it"
    )


def _line(head: str, choice: Choice) -> None:
    result(
        f"{head:<12} {choice.label:<20} {choice.fill_ratio:>5.2f} {choice.bits_used:>6.2f} {choice.u_percent:>8.4f}"
        f"          {choice.noise_percent:>8.4f} {choice.nonlinearity_percent:>8.4f} {choice.gain_percent:>8.4f}"
    )


def advice_object(advice: Advice, *, basis: str, channel: int, note: str) -> dict[str, Any]:
    """Everything, for `--json`."""
    return {"basis": basis, "channel": channel, "note": note, **dataclasses.asdict(advice)}
