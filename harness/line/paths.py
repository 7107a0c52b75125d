"""Where a place finds its job and keeps its records."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from harness.app.files import beside
from harness.config import LineFile


@dataclass(frozen=True, slots=True, kw_only=True)
class Paths:
    """Files and addresses, as they are opened."""

    job: str
    store: str
    pages: Path

    @classmethod
    def of(cls, line: LineFile, path: str, *, store: str = "", reports: str = "") -> Paths:
        """Those of a line file at `path`; store and reports of the command line go first."""
        own = line.store if re.match(r"[a-z][a-z0-9+.-]*://", line.store) else beside(path, line.store)
        return cls(job=beside(path, line.job), store=store or own, pages=Path(reports or beside(path, line.reports)))
