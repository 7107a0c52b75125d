"""What each part of a bench promises, above all what is true after a failure.

Every method may raise a BenchError. After ReadTimeout, WriteTimeout, BadReply or LinkLost the link is *suspect*: a late
answer may be waiting, so the next thing done with it must be `resynchronise`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, runtime_checkable

from harness.values import Capture, Decoding, Identity, Outcome, Reading, Setting, Waveform

Meanwhile = Callable[[], None]
"""Something to be done on other links while an instrument is busy; what it raises leaves the instrument's suspect."""


def idle() -> None:
    """Nothing to be done meanwhile."""


@runtime_checkable
class Link(Protocol):
    """A byte link to one instrument, owned by one driver; the seam between real and simulated.

    After a failed `write` none, part or all of the message may have arrived. After a failed read whatever had arrived
    is gone: reading is never resumed, the whole step is repeated after `clear` or `reopen`.
    """

    @property
    def address(self) -> str:
        """Resource string, port or URL, for messages."""
        ...

    def write(self, message: bytes) -> None:
        """Send a whole message, its terminator included, within the link's deadline."""
        ...

    def read_line(self) -> bytes:
        """Bytes up to and without the line feed, within the link's deadline."""
        ...

    def read_exactly(self, count: int) -> bytes:
        """Exactly `count` bytes, whatever their values, within the link's deadline."""
        ...

    def clear(self) -> None:
        """Throw away what is under way in both directions; LinkLost when the peer is gone."""
        ...

    def reopen(self) -> None:
        """Close and open again; pending answers are lost with the old connection."""
        ...

    def close(self) -> None:
        """Close; idempotent, never raises. Any later use raises LinkClosed."""
        ...


@runtime_checkable
class Instrument(Protocol):
    """What every instrument on the bench can do."""

    def identify(self) -> Identity:
        """Ask who answers; WrongInstrument when it is not the one of the bench file."""
        ...

    def resynchronise(self) -> str:
        """Make a suspect link sound again: clear, else reopen, then identify and drain the error queue.

        At most three tries, then its power is cycled where the bench file names a command for it; then LinkLost, and
        the instrument must not be used. Returns in a few words what it took. What had been set before the trouble is
        unknown afterwards: the caller applies the whole state again.
        """
        ...

    def drain_errors(self) -> tuple[str, ...]:
        """Empty the error queue; entries as `code, text`, oldest first; an empty tuple when all is well."""
        ...

    def close(self) -> None:
        """Close the link; idempotent, never raises."""
        ...


@runtime_checkable
class Source(Instrument, Protocol):
    """A programmable source of sines and, where it can, of steady levels.

    Levels are V peak at its terminals for the load it was told; steady ones are V, of either sign. `prepare` leads
    back to sines.
    """

    @property
    def min_vpk(self) -> float:
        """Smallest level it can set."""
        ...

    @property
    def max_vpk(self) -> float:
        """Largest level it can set for the bench's load."""
        ...

    def safe_off(self) -> None:
        """Output off, read back; works after any failure by resynchronising once. The last thing ever sent."""
        ...

    def prepare(self) -> None:
        """Output off, then waveform, offset 0 and load set and read back.

        StationFault (source-load-mis-set) when the load read back is not the one of the bench file.
        """
        ...

    def set_frequency(self, frequency_hz: float) -> float:
        """Set and read back, Hz."""
        ...

    def set_level(self, level_vpk: float) -> float:
        """Set and read back, V peak. RefusedUnsafe, before anything is sent, when the interlock says no."""
        ...

    def set_steady(self, level_v: float) -> float:
        """A steady level instead of the sine, set and read back, V.

        RefusedUnsafe, before anything is sent, when the interlock says no, or while a sine may be put out.
        """
        ...

    def output_on(self) -> None:
        """Output on, read back. The level must have been set since the last `prepare`."""
        ...

    def output_off(self) -> None:
        """Output off, read back."""
        ...


@runtime_checkable
class Device(Instrument, Protocol):
    """The device under test, set by coarse and fine index, read as raw codes."""

    def prepare(self) -> None:
        """Plain sample mode, record length and rate set and read back; every channel at its least sensitive setting."""
        ...

    def select(self, setting: Setting, meanwhile: Meanwhile = idle) -> tuple[tuple[str, str], ...]:
        """Set coarse and fine of one channel, wait for operation complete, read back; call `meanwhile` in the wait.

        Returns named read-backs as text. ReadBackDiffers when the device holds another setting; InstrumentReported when
        its error queue was not empty. After a failure the setting is unknown.
        """
        ...

    def acquire(self, channel: int, meanwhile: Meanwhile = idle) -> Waveform:
        """One plain single acquisition started after this call, complete, fetched with its scale.

        `meanwhile` is called once, while it is under way.
        """
        ...


@runtime_checkable
class Adapter(Instrument, Protocol):
    """The serial adapter on the control bus: listens, or loads words into a bare gain stage."""

    def arm(self) -> None:
        """Forget old events, start to listen; returns once listening has begun."""
        ...

    def fetch(self) -> Capture:
        """Stop listening and hand over what was seen since `arm`."""
        ...

    def load_word(self, latch: str, bits: int, value: int) -> None:
        """Shift a word out and pulse one latch."""
        ...


@runtime_checkable
class Meter(Instrument, Protocol):
    """A reference meter at the source's terminals: its reading is trusted before the level that the source claims."""

    def prepare(self) -> None:
        """Ready to read sines; the error queue is empty."""
        ...

    def read_level(self) -> float:
        """The level now, V peak of a sine, one reading that began after this call.

        BadReply for an overload and for anything that is no level: nothing stands in for a reading.
        """
        ...


@runtime_checkable
class Clock(Protocol):
    """Time as an argument, so that simulated minutes cost nothing."""

    def now_s(self) -> float:
        """Monotonic time, s."""
        ...

    def utc(self) -> str:
        """Wall-clock time, ISO 8601, UTC, microseconds."""
        ...

    def sleep(self, seconds: float) -> None:
        """Let `seconds` pass."""
        ...


class Heartbeat(Protocol):
    """Signs of life to whoever switches the source off when they stay away; neither raises."""

    def beat(self) -> None:
        """Alive, and the source may be on: the next sign must come in time."""
        ...

    def rest(self) -> None:
        """The source is off: no further sign is expected until the next beat."""
        ...


class Recorder(Protocol):
    """Where the sweep puts what it measured. On return the record is durable; StoreError stops the sweep."""

    def record(self, reading: Reading) -> None:
        """Commit one reading."""
        ...

    def note(self, kind: str, text: str) -> None:
        """Commit one line of the run's journal."""
        ...


class WordDecoder(Protocol):
    """Capture to words, by the bus room; handed to the sweep by app."""

    def __call__(self, capture: Capture) -> Decoding:
        """CaptureError when the capture contradicts itself."""
        ...


class Decider(Protocol):
    """A provisional opinion for the progress line; the record is judged whole afterwards."""

    def __call__(self, reading: Reading) -> Outcome:
        """Never raises."""
        ...
