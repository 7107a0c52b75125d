"""The coverage map as CSV: one row for each coarse and fine position."""

from __future__ import annotations

import csv
import dataclasses
import io

from harness.values import Coverage, CoverageRow

COLUMNS = tuple(field.name for field in dataclasses.fields(CoverageRow))


def coverage_csv(coverage: Coverage) -> str:
    """The coverage map as text.

    Args:
        coverage: of a device on a bench.
    Returns:
        CSV with a head line; names of columns carry their units, empty where there is no number.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in coverage.rows:
        writer.writerow([_cell(getattr(row, name)) for name in COLUMNS])
    return out.getvalue()


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.9g}" if isinstance(value, float) else value
