"""`gainladder shorten`: few settings that show what the whole ladder shows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from harness.app.options import json_option, limits_option

if TYPE_CHECKING:
    from harness.config import DeviceFile
    from harness.judge import LimitSet


@click.command()
@click.argument("job", metavar="JOB")
@click.option("--catalogue/--structure", default=True, show_default=True,
              help="Show every fault of the dictionary, or only meet what the structure asks for.")  # fmt: skip
@click.option("--detect", type=click.IntRange(min=1), default=3, show_default=True, metavar="N",
              help="Settings that must show each fault.")  # fmt: skip
@click.option("--most", type=click.IntRange(min=1), metavar="N",
              help="Settings a channel that the prediction may take; faults may take more.")  # fmt: skip
@click.option("--also", multiple=True, metavar="RANGE:FINE",
              help="A setting to visit in any case, such as a row that was wrong before; may be repeated.")  # fmt: skip
@click.option("--least", "least_percent", type=click.FloatRange(min=0.0, min_open=True), metavar="PERCENT",
              help="A fault shows where it moves the gain by more; default: the limit of the gain.")  # fmt: skip
@limits_option
@click.option("--out", default="", metavar="FILE", help="Write a ladder file; one that is there gets a new version.")
@click.option("--owner", default="", metavar="NAME", help="Who answers for the file; required with --out.")
@click.option("--reason", default="", metavar="TEXT", help="Why there is a new version.")
@json_option
def command(
    job: str,
    catalogue: bool,
    detect: int,
    most: int | None,
    also: tuple[str, ...],
    least_percent: float | None,
    limits_path: str,
    out: str,
    owner: str,
    reason: str,
    as_json: bool,
) -> int:
    """Choose few settings of JOB's device that show every fault of the catalogue and predict all others; open nothing.

    Each fault at each place by --detect settings where the whole ladder has as many, each relay in both states, each
    bit of the word both ways, both sides of the major carry, and then as many as the law needs to predict the rest. A
    job walks the file with `ladder.file`, and everything on one unit of `ladder.audit_every`.
    """
    import datetime as dt

    from harness.app.output import result_json, say, write_file
    from harness.app.setup import read_setup
    from harness.app.shorten_file import ladder_text, versions_of
    from harness.app.shorten_text import short_object, short_text
    from harness.drivers import RealClock
    from harness.errors import UsageError
    from harness.ladder.short import shorten

    if out and not owner:
        raise UsageError("--out needs --owner NAME: each version of a file says who answers for it")
    before = versions_of(Path(out)) if out else []
    setup = read_setup(job, limits_path=limits_path, ladder=False)
    least = least_percent or _gain_limit_percent(setup.limits)
    if least is None:
        raise UsageError("the limits have no row for the gain: say with --least from which percentage a fault shows")
    short = shorten(
        setup.law, detect=detect, least_percent=least, most=most, catalogue=catalogue,
        also=[_setting(text, setup.device) for text in also],
        coarse_steps="coarse-step" in setup.limits and not {"residual", "parameter"} & _items(setup.limits),
    )  # fmt: skip
    if as_json:
        result_json(short_object(short, setup))
    else:
        short_text(short, setup, detect=detect, least_percent=least)
    if out:
        text = ladder_text(
            short, setup.law, setup.device, detect=detect, least_percent=least, before=before,
            date=dt.date.fromisoformat(RealClock().utc()[:10]), owner=owner,
            reason=reason or ("made again by gainladder shorten" if before else "chosen by gainladder shorten"),
        )  # fmt: skip
        write_file(Path(out), text)
        say(f"wrote {out}, version {len(before) + 1}")
    return 0


def _setting(text: str, device: DeviceFile) -> tuple[int, int]:
    """Coarse and fine index of what stands behind --also."""
    from harness.errors import UsageError

    name, _, fine = text.rpartition(":")
    names = [coarse.name for coarse in device.coarse]
    if name not in names or not fine.isascii() or not fine.isdigit() or int(fine) >= device.fine.count:
        raise UsageError(
            f"--also: got {text!r}; allowed: RANGE:FINE with a range of {', '.join(names)} "
            f"and a fine position 0 to {device.fine.count - 1}"
        )
    return names.index(name), int(fine)


def _items(limits: LimitSet) -> set[str]:
    return {row.item for _, row in limits.rows}


def _gain_limit_percent(limits: LimitSet) -> float | None:
    """The widest row of the gain with its guard band; None without one."""
    rows = [row for name, row in limits.rows if name == "gain"]
    ends = [abs(end) + row.guard for row in rows for end in (row.low, row.high) if end is not None]
    return max(ends, default=None)
