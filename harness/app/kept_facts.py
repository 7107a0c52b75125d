"""Numbers of long runs, kept from one command to the next in the user's cache: a fit is worked out once.

They are no evidence: raw readings are, and the folder may be deleted at any time. A file is used only while its run,
the files of its setup and the software that made it are the same to the last character; else readings are taken anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import pickle
import platform
import sys
import tempfile
import zlib
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

import harness
from harness.app.setup import Setup
from harness.judge import Remembered
from harness.values import RunHeader

LEAST_SETTINGS = 400
"""Shorter runs are measured as quickly as they are read."""
MOST_FILES = 16
"""The oldest ones go; the numbers of 10,000 settings take 10 MB."""
_ROOMS = tuple(f"harness.{room}." for room in ("values", "law", "amplitude", "bus", "judge"))
"""Pure ones: to make a record of theirs touches nothing."""
_ARRAYS = frozenset(
    {
        "builtins.frozenset",
        "numpy.dtype",
        "numpy.ndarray",
        "numpy._core.multiarray._reconstruct",
        "numpy._core.multiarray.scalar",
        "numpy._core.numeric._frombuffer",
    }
)
_UNREADABLE = (OSError, EOFError, ValueError, ImportError, AttributeError, pickle.UnpicklingError, zlib.error)
_DIGEST_BYTES = hashlib.sha256().digest_size


class KeptFacts:
    """The place of one run's numbers."""

    def __init__(self, path: Path | None) -> None:
        self._path = path

    @classmethod
    def of(cls, mark: str, header: RunHeader, setup: Setup) -> KeptFacts:
        """Where the numbers of a run are, to be named by all they follow from: `mark` is the store's, of its readings.

        Nowhere for a short run, and for one of an old store, which has no mark.
        """
        planned, folder = setup.planned(), cache_folder()
        if folder is None or not mark or len(planned) < LEAST_SETTINGS:
            return cls(None)
        known = (
            mark,
            header.run_id,
            sorted((file.role, file.path, file.sha256) for file in setup.files if file.role != "limits"),
            planned,
            setup.extras,
            _software(),
        )
        return cls(folder / f"{hashlib.sha256(repr(known).encode()).hexdigest()}.facts")

    def read(self) -> Remembered | None:
        """What was kept; None where nothing is, or what is there is damaged."""
        if self._path is None:
            return None
        try:
            data = self._path.read_bytes()
            if hashlib.sha256(data[_DIGEST_BYTES:]).digest() != data[:_DIGEST_BYTES]:
                return None
            found = _OnlyOurs(io.BytesIO(zlib.decompress(data[_DIGEST_BYTES:]))).load()
            os.utime(self._path)
        except _UNREADABLE:
            return None
        return found if isinstance(found, Remembered) else None

    def write(self, known: Remembered) -> None:
        """Keep the numbers; where there is no room for them they are worked out again next time."""
        if self._path is None:
            return
        packed = zlib.compress(pickle.dumps(known, protocol=5), 1)
        with contextlib.suppress(OSError):
            self._path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            with tempfile.TemporaryDirectory(dir=self._path.parent, suffix=".part") as folder:
                part = Path(folder) / self._path.name
                part.write_bytes(hashlib.sha256(packed).digest() + packed)
                part.replace(self._path)
            kept = sorted(self._path.parent.glob("*.facts"), key=lambda path: path.stat().st_mtime)
            for old in kept[:-MOST_FILES]:
                old.unlink(missing_ok=True)


class _OnlyOurs(pickle.Unpickler):
    """Reads our records and arrays of numbers; a file that names anything else is not read."""

    def find_class(self, module: str, name: str) -> Any:
        ours = module.startswith(_ROOMS)
        found = super().find_class(module, name) if ours or f"{module}.{name}" in _ARRAYS else None
        if found is None or (ours and not isinstance(found, type)):
            raise pickle.UnpicklingError(f"{module}.{name} in kept numbers; allowed are records and arrays of numbers")
        return found


def cache_folder() -> Path | None:
    """The user's folder for what may be deleted at any time; None where the system knows no such user."""
    named = os.environ.get("LOCALAPPDATA" if sys.platform == "win32" else "XDG_CACHE_HOME")
    try:
        return (Path(named) if named else Path.home() / ".cache") / "gainladder"
    except RuntimeError:
        return None


@cache
def _software() -> str:
    """What made the numbers: every module of this program, and the libraries that compute."""
    root = Path(harness.__file__).parent
    every = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        every.update(f"{path.relative_to(root)}\n".encode() + path.read_bytes())
    return " ".join((every.hexdigest(), platform.python_version(), *map(metadata.version, ("numpy", "scipy"))))
