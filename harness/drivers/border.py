"""The border: every foreign error of the instrument libraries becomes one of ours here, and keeps its cause."""

from __future__ import annotations

import contextlib
import errno
import sys
from collections.abc import Iterator
from typing import Literal

from harness.errors import (
    BenchError,
    GainladderError,
    LinkClosed,
    LinkLost,
    OpenFailed,
    ReadTimeout,
    ResourceBusy,
    WriteTimeout,
)

Doing = Literal["open", "write", "read", "clear"]

_TIMEOUT: dict[Doing, type[BenchError]] = {
    "open": OpenFailed,
    "write": WriteTimeout,
    "read": ReadTimeout,
    "clear": ReadTimeout,
}
_VISA_BUSY = ("VI_ERROR_RSRC_BUSY", "VI_ERROR_RSRC_LOCKED")
_VISA_ABSENT = ("VI_ERROR_RSRC_NFOUND", "VI_ERROR_INV_RSRC_NAME")
# An exclusive lock held by another program shows as EAGAIN (flock) or EBUSY (the terminal's own exclusive mode).
_BUSY_NUMBERS = (errno.EBUSY, errno.EAGAIN)


@contextlib.contextmanager
def border(doing: Doing, *, address: str) -> Iterator[None]:
    """Run library calls; what they raise leaves as a BenchError that names the address."""
    try:
        yield
    except GainladderError:
        raise
    except Exception as error:  # the libraries raise ten unrelated classes, bare Exception among them
        raise translated(error, doing=doing, address=address) from error


def translated(error: Exception, *, doing: Doing, address: str) -> BenchError:
    """Our error for a foreign one."""
    kind = _kind(error, doing)
    return kind(f"{_words(kind, doing)}: {_detail(error)}", address=address)


def _kind(error: Exception, doing: Doing) -> type[BenchError]:
    broken: type[BenchError] = OpenFailed if doing == "open" else LinkLost
    abbreviation = _visa_abbreviation(error)
    if abbreviation:
        if abbreviation == "VI_ERROR_TMO":
            return _TIMEOUT[doing]
        if abbreviation in _VISA_BUSY:
            return ResourceBusy
        return OpenFailed if abbreviation in _VISA_ABSENT else broken
    if _is(error, "pyvisa.errors", "InvalidSession") or _is(error, "serial", "PortNotOpenError"):
        return LinkClosed
    if _is(error, "serial", "SerialTimeoutException"):
        return _TIMEOUT["open" if doing == "open" else "write"]
    if isinstance(error, TimeoutError):
        return _TIMEOUT[doing]
    if isinstance(error, ConnectionRefusedError):
        # One library connects so late that a port without a listener shows at the first command.
        return OpenFailed
    if doing == "open" and isinstance(error, OSError) and error.errno in _BUSY_NUMBERS:
        return ResourceBusy
    return broken


def _words(kind: type[BenchError], doing: Doing) -> str:
    if kind is OpenFailed:
        return "cannot be opened; check address, cable and power"
    if kind is ResourceBusy:
        return "held by another program; end that program first"
    if kind is LinkClosed:
        return "the link is closed; nothing was sent"
    if kind is WriteTimeout:
        return "takes no more bytes; part of the command may have arrived"
    if kind is ReadTimeout:
        return "no complete answer in time; it may still come"
    return f"the link broke (in {doing}); the last command may have arrived"


def _detail(error: Exception) -> str:
    """The error's own words, and those of what lies at its root."""
    texts = [f"{type(error).__name__}: {error}"]
    root: BaseException | None = error
    while root is not None and (root.__cause__ or root.__context__) is not None:
        root = root.__cause__ or root.__context__
    if root is not None and root is not error:
        texts.append(f"{type(root).__name__}: {root}")
    return "; from ".join(texts)


def _visa_abbreviation(error: Exception) -> str:
    return str(getattr(error, "abbreviation", "?")) if _is(error, "pyvisa.errors", "VisaIOError") else ""


def _is(error: Exception, module: str, name: str) -> bool:
    """Whether the error is of a class of a library; a library that was never imported has raised nothing."""
    kind = getattr(sys.modules.get(module), name, None)
    return isinstance(kind, type) and isinstance(error, kind)
