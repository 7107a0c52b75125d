"""Options that several commands share."""

from __future__ import annotations

import datetime as dt
import getpass
from collections.abc import Callable
from typing import Any, TypeVar

import click

from harness.errors import UsageError

Function = TypeVar("Function", bound=Callable[..., Any])

DEFAULT_STORE = "reports/gainladder.sqlite"
DEFAULT_REPORTS = "reports"


def store_option(function: Function) -> Function:
    """`--store URL`."""
    return click.option(
        "--store", "store_url", default=DEFAULT_STORE, show_default=True, metavar="URL", help="Where runs are recorded."
    )(function)


def forward_option(function: Function) -> Function:
    """`--forward URL`."""
    return click.option(
        "--forward", "forward_url", default="", metavar="URL",
        help="Copy readings to this store too, as they come; default: as the job says.",
    )(function)  # fmt: skip


def json_option(function: Function) -> Function:
    """`--json`."""
    return click.option("--json", "as_json", is_flag=True, help="One machine-readable object on stdout.")(function)


def seed_option(function: Function) -> Function:
    """`--seed N`."""
    return click.option("--seed", type=click.IntRange(min=0), help="Root seed of a simulated bench.")(function)


def fault_option(function: Function) -> Function:
    """`--fault NAME[:CHANNEL][/PLACE][=SIZE[,SECOND]][~CHANCE][@RECORD]`, repeatable."""
    return click.option(
        "--fault",
        "faults",
        multiple=True,
        metavar="NAME[:CHANNEL][=SIZE][~CHANCE][@RECORD]",
        help="A fault that the simulated bench shall have; repeatable. `gainladder faults` lists them.",
    )(function)


def limits_option(function: Function) -> Function:
    """`--limits FILE`."""
    return click.option("--limits", "limits_path", default="", metavar="FILE", help="Limits instead of the job's own.")(
        function
    )


def lift_option(function: Function) -> Function:
    """`--lift CODE=REASON`, repeatable."""
    return click.option(
        "--lift", "lifts", multiple=True, metavar="CODE=REASON",
        help="Lift a lock-out for this run; recorded with operator and reason. Repeatable.",
    )(function)  # fmt: skip


def login() -> str:
    """The login name of whoever calls; unknown where there is none."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def day(text: str) -> str:
    """A day that was given with `--since`, as it stands in records; UsageError for anything else."""
    try:
        return dt.date.fromisoformat(text).isoformat() if text else ""
    except ValueError as error:
        raise UsageError(f"--since: got {text!r}; allowed is a date such as 2026-11-30") from error
