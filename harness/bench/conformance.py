"""Checks that an implementation keeps its contract, for fakes and real instruments alike.

Harmless on hardware: the source stays off unless a level is given, and no word is loaded unless one is given. What the
checks set stays set; the source ends off.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable

from harness.bench.contracts import Adapter, Clock, Device, Instrument, Link, Meter, Source
from harness.errors import BenchError, ConformanceError, LinkClosed, ReadTimeout, RefusedUnsafe
from harness.values import Capture, Setting, Waveform

ABSURD_LEVELS_VPK = (math.inf, math.nan, -1.0, 1.0e9)
ABSURD_STEADY_V = (math.inf, math.nan, -1.0e9, 1.0e9)


def check_clock(clock: Clock) -> None:
    """A clock that never runs backwards, sleeps at least as long as asked, and labels in UTC."""
    _demand(isinstance(clock, Clock), "clock", f"{type(clock).__name__} lacks a method of Clock")
    first_s = clock.now_s()
    clock.sleep(0.002)
    second_s = clock.now_s()
    _demand(second_s - first_s >= 0.002 - 1e-9, "clock", f"slept 2 ms, only {second_s - first_s:g} s passed")
    clock.sleep(0.0)
    _demand(clock.now_s() >= second_s, "clock", "now_s ran backwards")
    text = clock.utc()
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise _broken("clock", f"utc() gave {text!r}; allowed: ISO 8601") from None
    _demand(moment.utcoffset() == dt.timedelta(0), "clock", f"utc() gave {text!r}; allowed: an offset of zero")
    _demand("." in text, "clock", f"utc() gave {text!r}; allowed: microseconds")


def check_link(link: Link, *, query: bytes = b"*IDN?\n", idle: bool = False, closing: bool = False) -> None:
    """A link that carries a question and its answer, whole or in pieces, and recovers.

    `idle` also reads without a question, which lasts the link's whole deadline; `closing` also closes it for good.
    """
    _demand(isinstance(link, Link), "link", f"{type(link).__name__} lacks a method of Link")
    place = link.address
    _demand(isinstance(place, str) and bool(place), "link", "address is empty")
    answer = _asked(link, query)
    _demand(bool(answer) and b"\n" not in answer, place, f"read_line gave {answer!r}; allowed: a line without its end")
    _demand(_asked(link, query) == answer, place, "the same question had another answer")
    link.write(query)
    pieces = link.read_exactly(1) + link.read_exactly(len(answer) - 1)
    rest = link.read_line()
    _demand(pieces == answer and rest == b"", place, f"in pieces it was {pieces!r} and {rest!r}, not {answer!r}")
    link.write(query)
    link.clear()
    _demand(_asked(link, query) == answer, place, "after clear an old answer came, or a wrong one")
    link.reopen()
    _demand(_asked(link, query) == answer, place, "after reopen an old answer came, or a wrong one")
    if idle:
        _demand_silence(link)
        link.clear()
        _demand(_asked(link, query) == answer, place, "after a time-out and clear a wrong answer came")
    if closing:
        link.close()
        link.close()
        _demand_closed(link, query)


def check_instrument(instrument: Instrument) -> None:
    """An instrument that says who it is, empties its error queue, and survives resynchronising."""
    _demand(isinstance(instrument, Instrument), "instrument", f"{type(instrument).__name__} lacks a method")
    identity = instrument.identify()
    name = identity.model
    _demand(bool(identity.manufacturer and identity.model), name, f"identity {identity} has an empty field")
    _demand(instrument.identify() == identity, name, "identified as another the second time")
    instrument.drain_errors()
    left = instrument.drain_errors()
    _demand(left == (), name, f"the error queue still held {left} after it was drained")
    instrument.resynchronise()
    _demand(instrument.identify() == identity, name, "another identity after resynchronise")


def check_source(source: Source, *, frequency_hz: float = 1000.0, level_vpk: float | None = None) -> None:
    """A source that reads back, refuses the absurd, and is off at the end; it is switched on only with a level."""
    _demand(isinstance(source, Source), "source", f"{type(source).__name__} lacks a method of Source")
    check_instrument(source)
    name = source.identify().model
    try:
        source.safe_off()
        low_vpk, high_vpk = source.min_vpk, source.max_vpk
        sound = 0.0 < low_vpk < high_vpk < math.inf
        _demand(sound, name, f"levels from {low_vpk:g} to {high_vpk:g} V peak; allowed: 0 < min < max, finite")
        source.prepare()
        read_hz = source.set_frequency(frequency_hz)
        _demand(abs(read_hz - frequency_hz) <= 1e-3 * frequency_hz, name, f"set {frequency_hz:g} Hz: got {read_hz:g}")
        for absurd_vpk in ABSURD_LEVELS_VPK:
            _demand_refused(source.set_level, absurd_vpk, f"{absurd_vpk:g} V peak", name)
        for absurd_v in ABSURD_STEADY_V:
            _demand_refused(source.set_steady, absurd_v, f"{absurd_v:g} V steady", name)
        if level_vpk is not None:
            _check_output(source, level_vpk, name)
    finally:
        source.safe_off()


def check_device(device: Device, *, setting: Setting | None = None) -> None:
    """A device that reads back its setting, refuses one that does not exist, and never hands out an old record."""
    _demand(isinstance(device, Device), "device", f"{type(device).__name__} lacks a method of Device")
    check_instrument(device)
    name = device.identify().model
    chosen = setting or Setting(1, 0, 0)
    device.prepare()
    read_back = device.select(chosen)
    texts = all(isinstance(part, str) and part for pair in read_back for part in pair)
    _demand(bool(read_back) and texts, name, f"select read back {read_back!r}; allowed: named texts")
    first = device.acquire(chosen.channel)
    _check_waveform(first, name)
    second = device.acquire(chosen.channel)
    _check_waveform(second, name)
    _demand(second.sequence != first.sequence, name, f"two records with the counter at {first.sequence}")
    _demand(second.codes.size == first.codes.size, name, "two records of different length")
    _demand(not _overlap(first, second), name, "two records share their memory")
    try:
        device.select(Setting(10_000, 10_000, 10_000))
    except BenchError:
        pass
    else:
        raise _broken(name, "a setting that does not exist was accepted")
    again = device.select(chosen)
    _demand(again == read_back, name, f"read back {again!r}, before {read_back!r}")


def check_adapter(adapter: Adapter, *, word: tuple[str, int, int] | None = None) -> None:
    """An adapter that listens and hands over well-formed captures; a word (latch, bits, value) is loaded if given."""
    _demand(isinstance(adapter, Adapter), "adapter", f"{type(adapter).__name__} lacks a method of Adapter")
    check_instrument(adapter)
    name = adapter.identify().model
    adapter.arm()
    _check_capture(adapter.fetch(), name)
    adapter.arm()
    adapter.arm()
    if word is not None:
        adapter.load_word(*word)
    capture = adapter.fetch()
    _check_capture(capture, name)
    _demand(word is None or capture.times_ns.size > 0, name, "a loaded word left no event on the bus")


def _check_output(source: Source, level_vpk: float, name: str) -> None:
    read_vpk = source.set_level(level_vpk)
    _demand(abs(read_vpk - level_vpk) <= 0.02 * level_vpk, name, f"set {level_vpk:g} V peak, got {read_vpk:g} V peak")
    source.output_on()
    source.output_off()
    source.prepare()
    try:
        source.output_on()
    except BenchError:
        return
    raise _broken(name, "the output went on although no level was set since prepare")


def _demand_refused(put: Callable[[float], float], level_v: float, said: str, name: str) -> None:
    try:
        put(level_v)
    except RefusedUnsafe:
        return
    except BenchError as error:
        raise _broken(name, f"level {said} raised {type(error).__name__}, not RefusedUnsafe") from error
    raise _broken(name, f"a level of {said} was accepted")


def _check_waveform(waveform: Waveform, name: str) -> None:
    codes = waveform.codes
    shape = codes.ndim == 1 and codes.size > 0 and codes.dtype.name == "int16" and codes.flags.c_contiguous
    _demand(shape, name, f"codes of shape {codes.shape} and type {codes.dtype}; allowed: a contiguous row of int16")
    _demand(not codes.flags.writeable, name, "the codes can be written")
    _demand(waveform.mode == "sample", name, f"acquisition mode {waveform.mode!r}; allowed: sample")


def _overlap(first: Waveform, second: Waveform) -> bool:
    ours, others = first.codes.__array_interface__["data"][0], second.codes.__array_interface__["data"][0]
    return bool(ours == others)


def _check_capture(capture: Capture, name: str) -> None:
    _demand(capture.times_ns.shape == capture.levels.shape, name, "as many times as levels in a capture")
    backwards = bool((capture.times_ns[1:] < capture.times_ns[:-1]).any())
    _demand(not backwards, name, "the times of a capture ran backwards")
    distinct = len(capture.lines) >= 3 and len(set(capture.lines)) == len(capture.lines)
    _demand(distinct, name, f"lines {capture.lines}; allowed: three or more, all different")
    _demand(capture.dropped >= 0, name, f"{capture.dropped} dropped events")


def _asked(link: Link, query: bytes) -> bytes:
    link.write(query)
    return link.read_line()


def check_meter(meter: Meter) -> None:
    """A meter that reads levels, and nothing but levels; the source is off meanwhile."""
    _demand(isinstance(meter, Meter), "meter", f"{type(meter).__name__} lacks a method of Meter")
    check_instrument(meter)
    name = meter.identify().model
    meter.prepare()
    for _ in range(2):
        level_vpk = meter.read_level()
        _demand(0.0 <= level_vpk < math.inf, name, f"a level of {level_vpk!r} V peak; allowed: 0 or more, finite")
    _demand(meter.drain_errors() == (), name, "two readings left entries in the error queue")


def _demand_silence(link: Link) -> None:
    try:
        line = link.read_line()
    except ReadTimeout:
        return
    raise _broken(link.address, f"without a question the answer was {line!r}; allowed: ReadTimeout")


def _demand_closed(link: Link, query: bytes) -> None:
    uses = (
        ("write", lambda: link.write(query)),
        ("read_line", link.read_line),
        ("read_exactly", lambda: link.read_exactly(1)),
        ("clear", link.clear),
        ("reopen", link.reopen),
    )
    for use, call in uses:
        try:
            call()
        except LinkClosed:
            continue
        except BenchError as error:
            raise _broken(link.address, f"{use} after close raised {type(error).__name__}, not LinkClosed") from error
        raise _broken(link.address, f"{use} after close raised nothing; allowed: LinkClosed")


def _demand(kept: bool, place: str, otherwise: str) -> None:
    if not kept:
        raise _broken(place, otherwise)


def _broken(place: str, words: str) -> ConformanceError:
    return ConformanceError(f"contract broken: {words}", instrument=place)
