"""Our own lock file for each resource: the libraries either cannot lock or lock only among themselves."""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import os
import tempfile
from pathlib import Path

from harness.errors import OpenFailed, ResourceBusy


class ResourceLock:
    """Held from construction until `release`; freed by the system when the process dies, so it is never stale."""

    def __init__(self, address: str) -> None:
        """Take the lock.

        Raises:
            ResourceBusy: a process (this one included) holds it; the message names the process.
            OpenFailed: the lock file cannot be opened.
        """
        self.path = lock_path(address)
        self._fd: int | None = self._taken(address)
        # The last owner may have removed the file between our opening and our locking it: then it locks nothing.
        while not _is_at(self.path, self._fd):
            os.close(self._fd)
            self._fd = self._taken(address)
        with contextlib.suppress(OSError):  # a lock file of another user is lockable but not writable
            os.ftruncate(self._fd, 0)
            os.pwrite(self._fd, f"{os.getpid()}\n".encode(), 0)

    def release(self) -> None:
        """Free the resource and remove the file; idempotent."""
        if self._fd is not None:
            with contextlib.suppress(OSError):  # the file of another user stays
                os.unlink(self.path)
            os.close(self._fd)
            self._fd = None

    def _taken(self, address: str) -> int:
        try:
            fd = _opened(self.path)
        except OSError as error:
            raise OpenFailed(
                f"the lock file {self.path} cannot be opened: {error.strerror}; remove it or check its owner",
                address=address,
            ) from error
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = _holder(fd)
            os.close(fd)
            raise ResourceBusy(
                f"held by process {holder or 'unknown'} (lock file {self.path}); end that process first",
                address=address,
            ) from error
        return fd


def resource_is_held(address: str) -> bool:
    """Whether a living process holds the lock of a resource; takes it for no longer than the look."""
    path = lock_path(address)
    try:
        fd = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
    except OSError:
        return False
    try:
        fcntl.flock(fd, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(fd)
    return False


def lock_path(address: str) -> Path:
    """Where the lock of a resource lives; a port is one resource under all its names."""
    same = os.path.realpath(address) if address.startswith("/") else address.upper()
    digest = hashlib.sha256(same.encode()).hexdigest()[:20]
    return Path(tempfile.gettempdir()) / f"gainladder-{digest}.lock"


def _opened(path: Path) -> int:
    try:
        fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o666)
    except PermissionError:
        return os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
    with contextlib.suppress(OSError):
        os.fchmod(fd, 0o666)
    return fd


def _is_at(path: Path, fd: int) -> bool:
    try:
        there = os.stat(path)
    except OSError:
        return False
    return os.path.samestat(there, os.fstat(fd))


def _holder(fd: int) -> str:
    with contextlib.suppress(OSError):
        return os.pread(fd, 32, 0).decode("ascii", "replace").strip()
    return ""
