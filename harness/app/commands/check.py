"""`gainladder check`: who answers on a bench, and whether every part keeps its contract."""

from __future__ import annotations

import click

from harness.app import cautions
from harness.app.options import fault_option, json_option, seed_option


@click.command()
@click.argument("bench", metavar="BENCH")
@click.option("--device", "device_path", default="", metavar="FILE", help="Device file; default: the demo device's.")
@seed_option
@fault_option
@json_option
def command(bench: str, device_path: str, seed: int | None, faults: tuple[str, ...], as_json: bool) -> int:
    """Identify every instrument of BENCH, check contracts, error queues and interlock. The source stays off."""
    from harness.app.bench_check import check_bench
    from harness.app.output import result, result_json, say

    say(cautions.long())
    lines = check_bench(bench, device_path=device_path, seed=seed, faults=faults)
    if as_json:
        result_json({"checks": [{"what": what, "found": found} for what, found in lines]})
    else:
        for what, found in lines:
            result(f"{what:<28} {found}")
    return 0
