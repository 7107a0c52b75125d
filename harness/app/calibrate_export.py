"""Files and bench of `gainladder calibrate`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from harness.app.bench_open import open_bench
from harness.app.calibrate_file import DeviceConstant, before_toml, constants_toml
from harness.app.calibrate_run import CalibratedRun
from harness.app.calibrate_write import write_constants
from harness.app.files import FileSet
from harness.app.output import write_file
from harness.app.setup import read_bench
from harness.app.signals import interruptible
from harness.errors import ConfigError, UsageError


def export(run: CalibratedRun, out: Path) -> None:
    """The constants as TOML."""
    write_file(out, constants_toml(run))


def before_path(out: Path) -> Path:
    """Where the old constants are kept: beside the export."""
    return out.with_name(f"{out.stem}-before.toml")


def write_to_device(run: CalibratedRun, bench_path: str, out: Path) -> tuple[Path, int]:
    """Write the constants to the device on a bench; where the old ones are kept, and how many were written."""
    kept = before_path(out)
    if kept.exists():
        raise UsageError(f"{kept}: exists and holds older constants; move it away or name another --out")
    files = FileSet()
    setup = read_bench(files, bench_path)
    files.check()
    if setup is None:  # pragma: no cover - check has raised
        raise ConfigError(())
    old: tuple[DeviceConstant, ...] = ()
    new: tuple[DeviceConstant, ...] = ()

    def keep(before: Sequence[DeviceConstant], wanted: Sequence[DeviceConstant]) -> None:
        nonlocal old, new
        old, new = tuple(before), tuple(wanted)
        write_file(kept, before_toml(run, old))
        write_file(out, constants_toml(run, before=old, device=new))

    seed = None if setup.file.simulation is None else run.header.seed
    with (
        interruptible(),
        open_bench(setup, run.setup.device, transport=run.setup.job.transport, seed=seed, faults=()) as opened,
    ):
        held = write_constants(run, opened, keep=keep)
    write_file(out, constants_toml(run, before=old, device=held, written=True))
    return kept, len(held)
