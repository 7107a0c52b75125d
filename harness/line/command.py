"""`gainladder line`: the operator's page at the end of the line."""

from __future__ import annotations

import click

from harness.app import cautions
from harness.app.options import seed_option


@click.command()
@click.argument("config", metavar="CONFIG")
@click.option(
    "--store", "store_url", default="", metavar="URL", help="Where runs are recorded; default: as the file says."
)
@click.option("--reports", default="", metavar="DIR", help="Where pages go; default: as the file says.")
@click.option("--port", type=click.IntRange(0, 65535), help="Instead of the file's own; 0: one that is free.")
@click.option("--language", default="", metavar="NAME", help="Instead of the file's own.")
@seed_option
@click.option(
    "--unit-faults", "faults_path", default="", metavar="FILE",
    help="TOML, SERIAL = [faults]: what units of a simulated bench have; read anew for each unit.",
)  # fmt: skip
def command(
    config: str,
    store_url: str,
    reports: str,
    port: int | None,
    language: str,
    seed: int | None,
    faults_path: str,
) -> int:
    """Serve the page of the place that CONFIG describes until Ctrl-C: scan badge and unit, connect, run, verdict.

    Needs the extra `line`. Only this computer can reach it unless CONFIG names another host, which needs a token.
    """
    from harness.app.output import say
    from harness.errors import UsageError

    try:
        from harness.line.serve import bound, opened, serve
    except ModuleNotFoundError as error:
        raise UsageError(f"{error.name} is not installed: pip install 'gainladder[line]'") from error
    say(cautions.short())
    with (
        opened(
            config, store=store_url, reports=reports, seed=seed, faults_path=faults_path, language=language
        ) as place,
        bound(place.line.host, place.line.port if port is None else port) as sock,
    ):
        serve(place, sock)
    say("the page is closed; the source is off")
    return 0
