"""The conformance checks themselves: each sees the breach that it is there for."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from harness.bench.conformance import (
    check_adapter,
    check_clock,
    check_device,
    check_instrument,
    check_link,
    check_meter,
    check_source,
)
from harness.errors import BenchError, ConformanceError, LinkClosed, LinkLost, ReadTimeout, RefusedUnsafe
from harness.values import Capture, Identity, Setting, Waveform

IDENTITY = Identity(manufacturer="Tarn", model="VG-1", serial="1", firmware="1")


class GoodClock:
    def __init__(self):
        self.time_s = 0.0

    def now_s(self):
        return self.time_s

    def utc(self):
        return "2026-01-01T00:00:00.000000+00:00"

    def sleep(self, seconds):
        self.time_s += seconds


class GoodLink:
    address = "memory"

    def __init__(self):
        self.pending = b""
        self.closed = False

    def use(self):
        if self.closed:
            raise LinkClosed("closed")

    def write(self, message):
        self.use()
        self.pending += b"Tarn,VG-1,1,1\n"

    def read_line(self):
        self.use()
        line, found, self.pending = self.pending.partition(b"\n")
        if not found:
            raise ReadTimeout("nothing")
        return line

    def read_exactly(self, count):
        self.use()
        data, self.pending = self.pending[:count], self.pending[count:]
        return data

    def clear(self):
        self.use()
        self.pending = b""

    def reopen(self):
        self.use()
        self.pending = b""

    def close(self):
        self.closed = True


class GoodInstrument:
    def identify(self):
        return IDENTITY

    def resynchronise(self):
        pass

    def drain_errors(self):
        return ()

    def close(self):
        pass


class GoodSource(GoodInstrument):
    min_vpk = 0.001
    max_vpk = 10.0

    def __init__(self):
        self.level_vpk = None
        self.on = False
        self.was_on = False

    def safe_off(self):
        self.on = False

    def prepare(self):
        self.level_vpk = None
        self.on = False

    def set_frequency(self, frequency_hz):
        return frequency_hz

    def set_level(self, level_vpk):
        if not 0.0 <= level_vpk <= 10.0:
            raise RefusedUnsafe("too much", asked_vpk=level_vpk, limit_vpk=10.0)
        self.level_vpk = level_vpk
        return level_vpk

    def set_steady(self, level_v):
        self.set_level(abs(level_v))
        return level_v

    def output_on(self):
        if self.level_vpk is None:
            raise BenchError("no level")
        self.on = self.was_on = True

    def output_off(self):
        self.on = False


class GoodDevice(GoodInstrument):
    def __init__(self):
        self.sequence = 0

    def prepare(self):
        pass

    def select(self, setting):
        if setting.channel > 4:
            raise BenchError("no such channel")
        return (("coarse", "20"), ("fine", "100"))

    def acquire(self, channel):
        self.sequence += 1
        return Waveform(
            codes=np.zeros(8, dtype=np.int16), sample_rate_hz=1.0, scale_v_per_code=1.0, sequence=self.sequence
        )


def capture(times=(1, 2), lines=("data", "clock", "latch"), dropped=0, levels=None):
    return Capture(
        times_ns=np.array(times, dtype=np.int64),
        levels=np.array(levels or [0] * len(times), dtype=np.uint8),
        initial=0,
        lines=lines,
        dropped=dropped,
    )


class GoodAdapter(GoodInstrument):
    def __init__(self):
        self.loaded = []

    def arm(self):
        pass

    def fetch(self):
        return capture(times=(1, 2) if self.loaded else ())

    def load_word(self, latch, bits, value):
        self.loaded.append((latch, bits, value))


class GoodMeter(GoodInstrument):
    def prepare(self):
        pass

    def read_level(self):
        return 0.25


def changed(kind, **members):
    """An instance of a class with some members replaced."""
    return type(f"Changed{kind.__name__}", (kind,), members)()


def test_what_keeps_its_contract_passes():
    check_clock(GoodClock())
    check_link(GoodLink(), idle=True, closing=True)
    check_instrument(GoodInstrument())
    check_device(GoodDevice(), setting=Setting(2, 0, 0))


def test_a_source_stays_off_without_a_level():
    source = GoodSource()
    check_source(source)
    assert not source.was_on


def test_a_source_with_a_level_is_switched_and_ends_off():
    source = GoodSource()
    check_source(source, level_vpk=1.0)
    assert source.was_on
    assert not source.on


def test_a_word_is_loaded_only_when_given():
    adapter = GoodAdapter()
    check_adapter(adapter)
    assert adapter.loaded == []
    check_adapter(adapter, word=("latch", 9, 1))
    assert adapter.loaded == [("latch", 9, 1)]


@pytest.mark.parametrize(
    ("clock", "words"),
    [
        (object(), "object lacks a method of Clock"),
        (changed(GoodClock, sleep=lambda self, seconds: None), "slept 2 ms, only 0 s passed"),
        (changed(GoodClock, utc=lambda self: "noon"), "utc.. gave 'noon'; allowed: ISO 8601"),
        (changed(GoodClock, utc=lambda self: "2026-01-01T00:00:00.5+01:00"), "allowed: an offset of zero"),
        (changed(GoodClock, utc=lambda self: "2026-01-01T00:00:00+00:00"), "allowed: microseconds"),
    ],
)
def test_clocks_that_break_it(clock, words):
    with pytest.raises(ConformanceError, match=words):
        check_clock(clock)


def test_a_clock_that_runs_backwards():
    times = iter([0.0, 1.0, 0.5])
    with pytest.raises(ConformanceError, match="now_s ran backwards"):
        check_clock(changed(GoodClock, now_s=lambda self: next(times)))


def counted(answers):
    """A write that brings another answer each time."""
    left = iter(answers)

    def write(self, message):
        self.use()
        self.pending += next(left)

    return write


def kept_clear(self):
    self.use()


@pytest.mark.parametrize(
    ("link", "words"),
    [
        (object(), "lacks a method of Link"),
        (changed(GoodLink, address=""), "address is empty"),
        (changed(GoodLink, read_line=lambda self: b"a\n"), "allowed: a line without its end"),
        (changed(GoodLink, write=counted([b"a\n", b"b\n"])), "the same question had another answer"),
        (changed(GoodLink, read_exactly=lambda self, count: b"x"), "in pieces it was"),
        (changed(GoodLink, write=counted([b"a\n"] * 3 + [b"late\n", b"a\n"]), clear=kept_clear), "after clear"),
        (changed(GoodLink, write=counted([b"a\n"] * 5 + [b"b\n"])), "after reopen"),
    ],
)
def test_links_that_break_it(link, words):
    with pytest.raises(ConformanceError, match=words):
        check_link(link)


def test_a_link_that_answers_unasked():
    class Talker(GoodLink):
        def read_line(self):
            self.use()
            self.pending = self.pending or b"hello\n"
            return super().read_line()

    with pytest.raises(ConformanceError, match="without a question the answer was b'hello'; allowed: ReadTimeout"):
        check_link(Talker(), idle=True)


def test_a_link_that_is_wrong_after_a_timeout():
    with pytest.raises(ConformanceError, match="after a time-out and clear a wrong answer came"):
        check_link(changed(GoodLink, write=counted([b"a\n"] * 6 + [b"b\n"])), idle=True)


@pytest.mark.parametrize("error", [None, LinkLost("gone")])
def test_a_link_that_lives_on_after_close(error):
    def reopen(self):
        self.pending = b""
        if self.closed and error:
            raise error

    words = "raised LinkLost, not LinkClosed" if error else "raised nothing; allowed: LinkClosed"
    with pytest.raises(ConformanceError, match=f"reopen after close {words}"):
        check_link(changed(GoodLink, reopen=reopen), closing=True)


@pytest.mark.parametrize(
    ("instrument", "words"),
    [
        (object(), "lacks a method"),
        (changed(GoodInstrument, identify=lambda self: replace(IDENTITY, manufacturer="")), "has an empty field"),
        (changed(GoodInstrument, drain_errors=lambda self: ("-350, x",)), "still held .'-350, x',. after it was"),
    ],
)
def test_instruments_that_break_it(instrument, words):
    with pytest.raises(ConformanceError, match=words):
        check_instrument(instrument)


@pytest.mark.parametrize(("change_at", "words"), [(2, "identified as another"), (3, "another identity after resync")])
def test_an_instrument_that_changes_its_mind(change_at, words):
    count = iter(range(1, 10))
    answer = lambda self: IDENTITY if next(count) < change_at else replace(IDENTITY, serial="2")  # noqa: E731
    with pytest.raises(ConformanceError, match=words):
        check_instrument(changed(GoodInstrument, identify=answer))


@pytest.mark.parametrize(
    ("source", "words"),
    [
        (GoodInstrument(), "lacks a method of Source"),
        (changed(GoodSource, min_vpk=0.0), "allowed: 0 < min < max, finite"),
        (changed(GoodSource, max_vpk=math.inf), "allowed: 0 < min < max, finite"),
        (changed(GoodSource, set_frequency=lambda self, hz: 2 * hz), "set 1000 Hz: got 2000"),
        (changed(GoodSource, set_level=lambda self, level_vpk: level_vpk), "a level of inf V peak was accepted"),
        (changed(GoodSource, set_steady=lambda self, level_v: level_v), "a level of inf V steady was accepted"),
    ],
)
def test_sources_that_break_it_end_off(source, words):
    with pytest.raises(ConformanceError, match=words):
        check_source(source)
    assert not getattr(source, "on", False)


def test_a_source_that_refuses_by_another_error():
    def refuse(self, level_vpk):
        raise BenchError("no")

    with pytest.raises(ConformanceError, match="level inf V peak raised BenchError, not RefusedUnsafe"):
        check_source(changed(GoodSource, set_level=refuse))


def test_a_source_that_sets_another_level():
    def half(self, level_vpk):
        return GoodSource.set_level(self, level_vpk) / 2.0

    with pytest.raises(ConformanceError, match=r"set 1 V peak, got 0.5 V peak"):
        check_source(changed(GoodSource, set_level=half), level_vpk=1.0)


def test_a_source_that_goes_on_without_a_level_ends_off():
    def eager(self):
        self.on = True

    source = changed(GoodSource, output_on=eager)
    with pytest.raises(ConformanceError, match="the output went on although no level was set since prepare"):
        check_source(source, level_vpk=1.0)
    assert not source.on


def waveform(**changes):
    keys = {"codes": np.zeros(8, dtype=np.int16), "sample_rate_hz": 1.0, "scale_v_per_code": 1.0, "sequence": 1}
    return Waveform(**{**keys, **changes})


def records(*waveforms):
    left = iter(waveforms)
    return lambda self, channel: next(left)


def writable():
    record = waveform()
    record.codes.setflags(write=True)
    return record


SHARED = np.zeros(8, dtype=np.int16)


@pytest.mark.parametrize(
    ("device", "words"),
    [
        (GoodInstrument(), "lacks a method of Device"),
        (changed(GoodDevice, select=lambda self, setting: ()), "allowed: named texts"),
        (changed(GoodDevice, acquire=records(waveform(codes=SHARED[:0]))), "a contiguous row of int16"),
        (changed(GoodDevice, acquire=records(waveform(codes=np.zeros(8)))), "type float64"),
        (changed(GoodDevice, acquire=lambda self, channel: writable()), "the codes can be written"),
        (changed(GoodDevice, acquire=records(waveform(mode="average"))), "mode 'average'; allowed: sample"),
        (changed(GoodDevice, acquire=lambda self, channel: waveform()), "two records with the counter at 1"),
        (
            changed(GoodDevice, acquire=records(waveform(), waveform(sequence=2, codes=np.zeros(9, dtype=np.int16)))),
            "two records of different length",
        ),
        (
            changed(GoodDevice, acquire=records(waveform(codes=SHARED), waveform(codes=SHARED, sequence=2))),
            "two records share their memory",
        ),
        (changed(GoodDevice, select=lambda self, setting: (("coarse", "1"),)), "that does not exist was accepted"),
    ],
)
def test_devices_that_break_it(device, words):
    with pytest.raises(ConformanceError, match=words):
        check_device(device)


def test_a_device_that_forgets():
    class Forgetful(GoodDevice):
        calls = 0

        def select(self, setting):
            super().select(setting)
            self.calls += 1
            return (("coarse", str(self.calls)),)

    with pytest.raises(ConformanceError, match=r"read back .*'2'.*, before .*'1'"):
        check_device(Forgetful())


@pytest.mark.parametrize(
    ("adapter", "words"),
    [
        (GoodInstrument(), "lacks a method of Adapter"),
        (changed(GoodAdapter, fetch=lambda self: capture(levels=[1])), "as many times as levels"),
        (changed(GoodAdapter, fetch=lambda self: capture(times=(2, 1))), "ran backwards"),
        (changed(GoodAdapter, fetch=lambda self: capture(lines=("a", "a", "b"))), "three or more, all different"),
        (changed(GoodAdapter, fetch=lambda self: capture(dropped=-1)), "-1 dropped events"),
    ],
)
def test_adapters_that_break_it(adapter, words):
    with pytest.raises(ConformanceError, match=words):
        check_adapter(adapter)


def test_an_adapter_that_loads_nothing():
    with pytest.raises(ConformanceError, match="a loaded word left no event on the bus"):
        check_adapter(changed(GoodAdapter, load_word=lambda self, *word: None), word=("latch", 9, 1))


@pytest.mark.parametrize(
    ("meter", "words"),
    [
        (GoodInstrument(), "lacks a method of Meter"),
        (changed(GoodMeter, read_level=lambda self: -0.1), "a level of -0.1 V peak; allowed: 0 or more, finite"),
        (changed(GoodMeter, read_level=lambda self: float("nan")), "a level of nan V peak"),
    ],
)
def test_meters_that_break_it(meter, words):
    with pytest.raises(ConformanceError, match=words):
        check_meter(meter)


def test_a_meter_whose_readings_leave_errors():
    class Complaining(GoodMeter):
        entries = ()

        def read_level(self):
            self.entries = ("-200, Execution error",)
            return 0.25

        def drain_errors(self):
            left, self.entries = self.entries, ()
            return left

    check_meter(GoodMeter())
    with pytest.raises(ConformanceError, match="two readings left entries in the error queue"):
        check_meter(Complaining())
