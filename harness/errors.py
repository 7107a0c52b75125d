"""The whole error tree, and what each kind means for the exit code.

GainladderError                     every child: a message that names the place; fields; picklable
├─ ConfigError (ValueError)         all problems of a file set at once: file, key path, got, allowed
├─ UsageError (ValueError)          a command line that cannot be carried out
├─ BenchError                       instrument, address, command
│  ├─ OpenFailed                    nobody listens, or the port cannot be opened
│  ├─ ResourceBusy                  another process holds the port or address
│  ├─ LinkLost                      it broke
│  ├─ LinkClosed                    we closed it
│  ├─ WriteTimeout / ReadTimeout    what may have arrived is unknown: the link is suspect
│  ├─ BadReply (ValueError)         reply text, expected form
│  ├─ InstrumentReported            the drained error queue
│  ├─ WrongInstrument               another identity answers at the address
│  ├─ ReadBackDiffers               the instrument holds another value than the one sent
│  ├─ ConformanceError              an implementation breaks its contract
│  ├─ StationFault                  the tester itself is wrong; names the fault
│  └─ RefusedUnsafe (ValueError)    asked, limit: raised before anything is sent
├─ MeasureError                     a record that cannot be trusted; reason code
│  ├─ NotFinite (ValueError)        NaN, infinity, 9.9E37 or 9.91E37 in the data
│  ├─ TooFewCycles                  less than one cycle in the record
│  ├─ FitFailed                     the least-squares problem has no unique answer
│  ├─ HostAsleep                    the computer slept while it was taken
│  └─ CaptureError (ValueError)     a bus capture that contradicts itself
├─ LearnError                       what was seen of a device does not allow an answer
├─ StoreError                       the record cannot be written or read
│  ├─ StoreUnavailable              missing, locked, read-only or full
│  ├─ SchemaMismatch                written by another version
│  ├─ RunNotFound (LookupError)     no such run, or an ambiguous prefix
│  └─ RunExists                     the run id is taken
├─ LockedOut                        a station or unit that must not be measured; the locks
├─ StopCondition                    a condition of the job ends a corner, a unit or the whole night
└─ ReportError                      the report cannot be written
"""

from __future__ import annotations

import enum
from dataclasses import dataclass


class ExitCode(enum.IntEnum):
    """What the process tells its caller; the outcomes' order of precedence is in judge."""

    PASS = 0
    FAIL = 1
    USAGE = 2
    INVALID = 3
    LOCKED = 4
    INCONCLUSIVE = 5
    INTERNAL = 6
    INTERRUPTED = 130


class GainladderError(Exception):
    """Root of every error of ours; `str()` names the place and what to do."""

    exit_code: ExitCode = ExitCode.INTERNAL


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing wrong in one file."""

    file: str
    """The file as the user named it."""
    key: str
    """Dotted key path; list members by index, as in `coarse[3].full_scale_vpp`."""
    got: str
    """What stands there."""
    allowed: str
    """What may stand there."""

    def __str__(self) -> str:
        return f"{self.file}: {self.key}: got {self.got}; allowed: {self.allowed}"


class ConfigError(GainladderError, ValueError):
    """Every problem found in a set of files, at once."""

    exit_code = ExitCode.USAGE

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__(problems)
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


class UsageError(GainladderError, ValueError):
    """A command line that cannot be carried out."""

    exit_code = ExitCode.USAGE


class BenchError(GainladderError):
    """Trouble with an instrument or its link."""

    exit_code = ExitCode.INVALID

    def __init__(self, message: str, *, instrument: str = "", address: str = "", command: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.instrument = instrument
        self.address = address
        self.command = command

    def __str__(self) -> str:
        place = " at ".join(part for part in (self.instrument, self.address) if part)
        during = f" (during {self.command!r})" if self.command else ""
        return f"{place}: {self.message}{during}" if place else f"{self.message}{during}"

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild, (type(self), self.message, self.__dict__.copy())


def _rebuild(kind: type[BenchError], message: str, fields: dict[str, object]) -> BenchError:
    error = kind.__new__(kind, message)
    error.args = (message,)
    error.__dict__.update(fields)
    return error


class OpenFailed(BenchError):
    """Nobody listens there, or the port cannot be opened; nothing was sent."""


class ResourceBusy(BenchError):
    """Another process holds the port or address; nothing was sent."""


class LinkLost(BenchError):
    """The link broke; none, part or all of the last command may have arrived."""


class LinkClosed(BenchError):
    """The link was closed by us; nothing was sent."""


class WriteTimeout(BenchError):
    """The peer takes no more bytes; part of the command may have arrived."""


class ReadTimeout(BenchError):
    """No complete answer in time; the command has probably arrived, the answer may still come: the link is suspect."""


class BadReply(BenchError, ValueError):
    """An answer of another form than the one expected; the command has arrived."""


class InstrumentReported(BenchError):
    """The instrument's error queue was not empty; `codes` holds the drained queue."""

    def __init__(self, message: str, *, codes: tuple[int, ...] = (), **place: str) -> None:
        super().__init__(message, **place)
        self.codes = codes


class WrongInstrument(BenchError):
    """Another identity answers at the address; nothing was set."""


class ReadBackDiffers(BenchError):
    """The instrument holds another value than the one sent."""


class ConformanceError(BenchError):
    """An implementation breaks its contract."""


class StationFault(BenchError):
    """The tester itself is wrong; `fault` is its name in the catalogue, `also` what cannot be told apart from it."""

    def __init__(self, message: str, *, fault: str, also: tuple[str, ...] = (), **place: str) -> None:
        super().__init__(message, **place)
        self.fault = fault
        self.also = also


class RefusedUnsafe(BenchError, ValueError):
    """A level above a limit was asked for; nothing was sent."""

    exit_code = ExitCode.INVALID

    def __init__(self, message: str, *, asked_vpk: float, limit_vpk: float, **place: str) -> None:
        super().__init__(message, **place)
        self.asked_vpk = asked_vpk
        self.limit_vpk = limit_vpk


class MeasureError(GainladderError):
    """A record that cannot be trusted; `reason` is a short code for the record."""

    exit_code = ExitCode.INVALID
    reason = "measure"


class NotFinite(MeasureError, ValueError):
    """NaN, an infinity, 9.9E37 or 9.91E37 where a number is needed."""

    reason = "not-finite"


class TooFewCycles(MeasureError):
    """The record holds less than one cycle of the signal."""

    reason = "too-few-cycles"


class FitFailed(MeasureError):
    """The least-squares problem has no unique answer."""

    reason = "fit-failed"


class HostAsleep(MeasureError):
    """The computer slept while the record was taken: bench and unit have gone on meanwhile."""

    reason = "host-asleep"


class CaptureError(MeasureError, ValueError):
    """A bus capture that contradicts itself: time runs backwards, lengths differ."""

    reason = "capture"


class LearnError(GainladderError):
    """What was seen of a device does not allow an answer; the message says what is missing and what to do."""

    exit_code = ExitCode.INVALID


class StoreError(GainladderError):
    """The record cannot be written or read."""

    exit_code = ExitCode.INVALID


class StoreUnavailable(StoreError):
    """The store is missing, locked, read-only or full."""


class SchemaMismatch(StoreError):
    """The store was written by another version of the schema."""


class RunNotFound(StoreError, LookupError):
    """No run has that id, or more than one begins with it."""

    exit_code = ExitCode.USAGE


class RunExists(StoreError):
    """The run id is already in the store."""


class LockedOut(GainladderError):
    """Production mode refuses: `codes` are the locks that hold, `details` their numbers; nothing was measured."""

    exit_code = ExitCode.LOCKED

    def __init__(self, message: str, *, codes: tuple[str, ...], details: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.codes = codes
        self.details = details

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild_locked, (self.args[0], self.codes, self.details)


def _rebuild_locked(message: str, codes: tuple[str, ...], details: tuple[str, ...]) -> LockedOut:
    return LockedOut(message, codes=codes, details=details)


class StopCondition(GainladderError):
    """What a job names as a reason to stop; `scope` says how much: corner, unit or night."""

    exit_code = ExitCode.INVALID

    def __init__(self, message: str, *, scope: str) -> None:
        super().__init__(message)
        self.scope = scope

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild_stop, (self.args[0], self.scope)


def _rebuild_stop(message: str, scope: str) -> StopCondition:
    return StopCondition(message, scope=scope)


class ReportError(GainladderError):
    """The report cannot be written."""

    exit_code = ExitCode.INVALID
