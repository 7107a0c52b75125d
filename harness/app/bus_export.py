"""The captures of a recorded run as a file for `decode` and for other tools."""

from __future__ import annotations

from pathlib import Path

from harness.app.output import result, say, write_file
from harness.app.version import version
from harness.errors import UsageError
from harness.report.capture_file import csv_pieces, vcd_pieces
from harness.store import open_store


def export_captures(run: str, form: str, *, out: str, store_url: str) -> None:
    """Write all captures of a run, in order of recording; UsageError for a run without any."""
    with open_store(store_url, read_only=True) as store:
        run_id = store.resolve(run)
        captures = ((r.started_s, r.capture) for r in store.readings(run_id) if r.capture is not None)
        text = "".join(vcd_pieces(captures, software=version()) if form == "vcd" else csv_pieces(captures))
    if not text:
        raise UsageError(
            f"run {run_id} holds no captures of the bus: allowed is a run on a bench with an adapter; sweep again on "
            "one that has it"
        )
    if out:
        write_file(Path(out), text)
        say(f"wrote {out}")
    else:
        result(text.rstrip("\n"))
