"""`gainladder station`: what people do on a line beside measuring; all of it is in the record."""

from __future__ import annotations

import click

from harness.app.options import json_option, login, store_option

operator_option = click.option("--operator", default="", metavar="NAME", help="Name or badge; default: the login.")
reason_option = click.option("--reason", required=True, metavar="TEXT", help="Why; goes into the record.")


@click.group(no_args_is_help=True)
def command() -> None:
    """Notes, released files, a new fixture: written into the book of the station; and who did what."""


@command.command(short_help="Write a note into the book of a station.")
@click.argument("job", metavar="JOB")
@click.argument("text", metavar="TEXT")
@click.option("--unit", default="", metavar="SERIAL", help="The unit that the note is about; default: the station.")
@operator_option
@store_option
def note(job: str, text: str, unit: str, operator: str, store_url: str) -> int:
    """Write TEXT into the book of the station of JOB."""
    from harness.values import REMARK

    return _write(job, REMARK, operator, store_url, about=unit, text=text, acts=())


@command.command(short_help="Release the files of a job for its station.")
@click.argument("job", metavar="JOB")
@reason_option
@operator_option
@store_option
def release(job: str, reason: str, operator: str, store_url: str) -> int:
    """Release the files of JOB, as they are now, for its station: with production.released no others are measured by.

    By their hashes: a file that changes afterwards locks the station until it is released again.
    """
    from harness.values import RELEASED

    return _write(job, RELEASED, operator, store_url, about="", text=reason, acts=("limits",))


@command.command(short_help="Say that a fixture was renewed.")
@click.argument("job", metavar="JOB")
@reason_option
@operator_option
@store_option
def fixture(job: str, reason: str, operator: str, store_url: str) -> int:
    """Say that the fixture of the station of JOB was renewed: its runs are counted anew."""
    from harness.values import FIXTURE

    return _write(job, FIXTURE, operator, store_url, about="", text=reason, acts=("fixture",))


@command.command(short_help="Who did what on this station.")
@click.option("--since", default="", metavar="DATE", help="Lines of this day (UTC) or later.")
@store_option
@json_option
def log(since: str, store_url: str, as_json: bool) -> int:
    """Who did what: locks lifted, repairs, notes, refusals, releases, constants, golden references begun anew."""
    from harness.app.actions import actions_of
    from harness.app.options import day
    from harness.app.output import result, result_json
    from harness.store import open_store

    with open_store(store_url, read_only=True) as store:
        found = [row for row in actions_of(store) if row.at_utc >= day(since)]
    if as_json:
        result_json([row.content for row in found])
    for row in () if as_json else found:
        result(str(row))
    return 0


def _write(
    job: str, kind: str, operator: str, store_url: str, *, about: str, text: str, acts: tuple[str, ...]
) -> int:
    from harness.app.output import result
    from harness.app.people import note_action, require, whoever
    from harness.app.setup import read_setup
    from harness.drivers import RealClock
    from harness.errors import UsageError
    from harness.store import open_store
    from harness.values import RELEASED

    if not text.strip():
        raise UsageError("station: got an empty text; allowed is a sentence, which goes into the record")
    setup = read_setup(job, ladder=False)
    who = whoever(setup, operator or login())
    files = tuple(file.sha256 for file in setup.files) if kind == RELEASED else ()
    about = about or setup.job.name
    with open_store(store_url) as store:
        require(store, setup, who, RealClock(), about=about, acts=acts)
        note_action(store, setup, who, RealClock(), kind, about=about, text=text.strip(), files=files)
    of = f", {len(files)} files" if files else ""
    result(f"{kind} by {who}: {about}{of}: {text.strip()}")
    return 0
