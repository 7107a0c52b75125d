"""`gainladder simulate`: serve a simulated bench on loopback."""

from __future__ import annotations

from pathlib import Path

import click

from harness.app.options import fault_option, json_option, seed_option


@click.command()
@click.argument("bench", metavar="BENCH")
@seed_option
@fault_option
@click.option("--unit", default="", metavar="SERIAL", help="Serial number of the unit: which one of the bench's lot.")
@click.option("--until-stdin-closes", is_flag=True, help="End when standard input closes instead of at Ctrl-C.")
@click.option("--bench-out", default="", metavar="FILE", help="Also write a bench file that reaches this bench.")
@json_option
def command(
    bench: str,
    seed: int | None,
    faults: tuple[str, ...],
    unit: str,
    until_stdin_closes: bool,
    bench_out: str,
    as_json: bool,
) -> int:
    """Serve the simulated BENCH until Ctrl-C, printing its addresses: other programs reach it by VISA and serial."""
    from harness.app.files import FileSet
    from harness.app.live_bench import live_bench_text
    from harness.app.output import result, say, write_file
    from harness.app.setup import read_bench
    from harness.drivers import RealClock
    from harness.errors import UsageError
    from harness.simulated import build_world, serve

    files = FileSet()
    setup = read_bench(files, bench)
    files.check()
    if setup is None or setup.file.simulation is None:
        raise UsageError(f"{bench}: describes a real bench; only one with a [simulation] section can be served")
    chosen = setup.file.simulation.seed if seed is None else seed
    world = build_world(
        setup.file, seed=chosen, faults=faults, clock=RealClock(), file=bench, serial=unit, in_process=False
    )

    def announce(addresses: dict[str, str]) -> None:
        if bench_out:
            serials = {role: _serial(world.instruments[role].handle(b"*IDN?\n")) for role in addresses}
            write_file(Path(bench_out), live_bench_text(setup, addresses, serials, bench_out))
        if as_json:
            import json

            result(json.dumps({"addresses": addresses, "seed": chosen}))
        else:
            for role, address in addresses.items():
                result(f"{role:<8} {address}")
            say("serving until Ctrl-C" if not until_stdin_closes else "serving until standard input closes")

    try:
        serve(world, announce=announce, until_eof=0 if until_stdin_closes else None)
    except KeyboardInterrupt:
        say("stopped")
    return 0


def _serial(identity: bytes) -> str:
    return identity.decode("ascii").strip().split(",")[2]
