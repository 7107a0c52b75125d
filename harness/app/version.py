"""The program's version, from its metadata."""

from __future__ import annotations

from importlib import metadata


def version() -> str:
    """As installed; `unknown` when run from a bare tree."""
    try:
        return metadata.version("gainladder")
    except metadata.PackageNotFoundError:
        return "unknown"
