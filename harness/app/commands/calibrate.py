"""`gainladder calibrate`: correction constants from a run; into the device only when told so."""

from __future__ import annotations

from pathlib import Path

import click

from harness.app.options import json_option, limits_option, login, store_option
from harness.errors import UsageError


@click.command()
@click.argument("run", metavar="RUN")
@limits_option
@store_option
@click.option("--out", "out_path", default="", metavar="FILE.toml", help="Export the constants.")
@click.option("--write", is_flag=True, help="Write them to the device on --bench; the old ones are kept beside --out.")
@click.option("--bench", "bench_path", default="", metavar="FILE", help="Bench with the unit on it, for --write.")
@click.option("--job", "job_path", default="", metavar="FILE", help="Where the run's job file is now, for --write.")
@click.option("--operator", default="", metavar="NAME", help="Name or badge of who writes; default: the login.")
@json_option
def command(
    run: str, limits_path: str, store_url: str, out_path: str, write: bool, bench_path: str, job_path: str,
    operator: str, as_json: bool,
) -> int:
    """Correction constants of the coarse ranges from RUN, what they leave at every fine step, and what would help.

    The device itself is touched only with --write: source off, old constants kept first, each new one read back.
    """
    from harness.app.calibrate_export import export, write_to_device
    from harness.app.calibrate_rights import note_writing, require_writing
    from harness.app.calibrate_run import calibrate_run
    from harness.app.calibrate_text import calibration_object, calibration_text
    from harness.app.output import result_json, say
    from harness.store import open_store
    from harness.values import Outcome

    if write and not (bench_path and out_path):
        raise UsageError("--write needs --bench FILE, the bench with the unit on it, and --out FILE.toml, beside which "
                         "the old constants are kept")  # fmt: skip
    if bench_path and not write:
        raise UsageError("--bench is for --write alone; without it no bench is touched")
    with open_store(store_url, read_only=not write) as store:
        calibrated = calibrate_run(store, run, limits_path=limits_path)
        if write:
            who = require_writing(store, calibrated, operator or login(), job_path=job_path)
    failed = sum(row.outcome is Outcome.FAIL for row in calibrated.result.settings)
    if failed:
        say(f"caution: {failed} settings of the run FAIL; constants must not hide a fault")
    if write:
        with open_store(store_url) as store:
            kept, count = write_to_device(calibrated, bench_path, Path(out_path))
            note_writing(store, calibrated, who, f"{count} constants written and read back; old ones in {kept.name}")
        say(f"{count} constants written and read back; the old ones are in {kept}")
        job = calibrated.header.file("job").path
        say(f"verify by a second sweep: gainladder sweep {job} --unit {calibrated.header.unit} --bench {bench_path}")
    elif out_path:
        export(calibrated, Path(out_path))
    if out_path:
        say(f"wrote {out_path}")
    if as_json:
        result_json({**calibration_object(calibrated), "written": write})
    else:
        calibration_text(calibrated)
    return 0
