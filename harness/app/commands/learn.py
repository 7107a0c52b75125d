"""`gainladder learn`: what the gain control of an undocumented device does."""

from __future__ import annotations

import click

from harness.app.options import DEFAULT_REPORTS, fault_option, json_option, login, seed_option, store_option


@click.command()
@click.argument("bench", metavar="[BENCH]", default="")
@click.option("--readings", default="", metavar="FILE.csv", help="Gains from a file in the place of a bench.")
@click.option("--captures", default="", metavar="DIR", help="With --readings: captures named CHANNEL-COARSE-FINE.")
@click.option("--settings", "settings_path", default="", metavar="FILE", help="What is known; the rest is asked.")
@click.option(
    "--input-limit", "limit_vpk", type=click.FloatRange(min=0, min_open=True), metavar="VPK",
    help="What the input bears; the lowest of this, the settings file and the device holds.",
)
@click.option("--out", default="learned.toml", show_default=True, metavar="DEVICE.toml", help="File to write.")
@click.option("--fine", "fine", multiple=True, type=click.IntRange(min=0), help="These positions only; repeatable.")
@click.option("--yes", is_flag=True, help="The cautions are understood: do not ask.")
@click.option("--anew", is_flag=True, help="Begin again, whatever an earlier session has found.")
@click.option("--verify", is_flag=True, help="Sweep with the learned file at the end; its exit code is the command's.")
@click.option("--reports", default=DEFAULT_REPORTS, show_default=True, metavar="DIR", help="Where pages go.")
@store_option
@seed_option
@fault_option
@click.option("--operator", default="", metavar="NAME", help="Who runs it; default: the login name.")
@json_option
def command(
    bench: str,
    readings: str,
    captures: str,
    settings_path: str,
    limit_vpk: float | None,
    out: str,
    fine: tuple[int, ...],
    yes: bool,
    anew: bool,
    verify: bool,
    reports: str,
    store_url: str,
    seed: int | None,
    faults: tuple[str, ...],
    operator: str,
    as_json: bool,
) -> int:
    """Find out what the gain control of the device on BENCH does, and write a device file.

    Without a bench, --readings and --captures say what it would: then nothing proves hardware, and nothing is verified.

    In stages: look, listen, measure, explain, write. A session that broke off goes on where it was when the same
    command is given again.
    """
    from harness.app.learn import LearnRequest, learn

    return learn(
        LearnRequest(
            bench=bench, readings=readings, captures=captures, settings=settings_path, out=out, fine=fine, yes=yes,
            anew=anew, verify=verify, limit_vpk=limit_vpk, reports=reports, store=store_url, seed=seed, faults=faults,
            operator=operator or login(), as_json=as_json,
        )
    )  # fmt: skip
