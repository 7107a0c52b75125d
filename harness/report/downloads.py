"""Data files inside a page."""

from __future__ import annotations

import base64
import gzip
from dataclasses import dataclass

from harness.report.csv_file import checked_csv
from harness.report.json_file import checked_json
from harness.values import RunHeader, RunResult

MOST_DATA_BYTES = 1_000_000
"""A data file larger than this is not put into the page; the page then names the command that prints it."""
MOST_PACKED_BYTES = 250_000
"""As much of a compressed one."""
MOST_SETTINGS = 2_000
"""Of a longer run they are not even made: they would be too large, and take longer than the page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Download:
    """A data file, inside the page or by command."""

    form: str
    name: str
    href: str
    """Empty when the file is too large."""


def downloads(header: RunHeader, result: RunResult) -> tuple[Download, ...]:
    """The data files of a run.

    Args:
        header: of the run.
        result: of the run, its numbers finite.
    Returns:
        CSV and JSON, compressed where the plain file is too large; the same bytes for the same arguments.
    """
    long = len(result.settings) > MOST_SETTINGS
    return (
        _download(header, "csv", "text/csv", "" if long else checked_csv(header, result)),
        _download(header, "json", "application/json", "" if long else checked_json(header, result)),
    )


def _download(header: RunHeader, form: str, kind: str, text: str) -> Download:
    name, data = f"{header.run_id}.{form}", text.encode("utf-8")
    plain = base64.b64encode(data) if 0 < len(data) < 0.75 * MOST_DATA_BYTES else b""
    if plain:
        return Download(form=form, name=name, href=f"data:{kind};charset=utf-8;base64,{plain.decode('ascii')}")
    packed = base64.b64encode(gzip.compress(data, compresslevel=6, mtime=0)) if data else b""
    fits = 0 < len(packed) < MOST_PACKED_BYTES
    href = f"data:application/gzip;base64,{packed.decode('ascii')}" if fits else ""
    return Download(form=f"{form}.gz" if fits else form, name=f"{name}.gz" if fits else name, href=href)
