from __future__ import annotations

import errno
import pickle
import termios

import pytest
import pyvisa.errors
import serial
from pyvisa.constants import StatusCode

from harness.drivers.border import border, translated
from harness.errors import (
    BenchError,
    LinkClosed,
    LinkLost,
    OpenFailed,
    ReadTimeout,
    ResourceBusy,
    WriteTimeout,
)


def visa(name: str) -> pyvisa.errors.VisaIOError:
    return pyvisa.errors.VisaIOError(getattr(StatusCode, name))


# Every class that the libraries were seen to raise: error, then our class in open, write, read, clear.
LIST = [
    (visa("error_timeout"), OpenFailed, WriteTimeout, ReadTimeout, ReadTimeout),
    (visa("error_connection_lost"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (visa("error_io"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (visa("error_resource_busy"), ResourceBusy, ResourceBusy, ResourceBusy, ResourceBusy),
    (visa("error_resource_locked"), ResourceBusy, ResourceBusy, ResourceBusy, ResourceBusy),
    (visa("error_resource_not_found"), OpenFailed, OpenFailed, OpenFailed, OpenFailed),
    (visa("error_invalid_resource_name"), OpenFailed, OpenFailed, OpenFailed, OpenFailed),
    (visa("error_nonsupported_operation"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (pyvisa.errors.InvalidSession(), LinkClosed, LinkClosed, LinkClosed, LinkClosed),
    (ConnectionRefusedError(errno.ECONNREFUSED, "refused"), OpenFailed, OpenFailed, OpenFailed, OpenFailed),
    (BrokenPipeError(errno.EPIPE, "pipe"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (ConnectionResetError(errno.ECONNRESET, "reset"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (TimeoutError("timed out"), OpenFailed, WriteTimeout, ReadTimeout, ReadTimeout),
    (RuntimeError("Connection was dropped by server."), OpenFailed, LinkLost, LinkLost, LinkLost),
    (NotImplementedError(), OpenFailed, LinkLost, LinkLost, LinkLost),
    (serial.SerialException("gone"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (serial.SerialException(errno.EAGAIN, "Could not exclusively lock"), ResourceBusy, LinkLost, LinkLost, LinkLost),
    (serial.SerialException(errno.EBUSY, "busy"), ResourceBusy, LinkLost, LinkLost, LinkLost),
    (serial.SerialException(errno.ENOENT, "no such port"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (serial.SerialTimeoutException("Write timeout"), OpenFailed, WriteTimeout, WriteTimeout, WriteTimeout),
    (serial.PortNotOpenError(), LinkClosed, LinkClosed, LinkClosed, LinkClosed),
    (OSError(errno.EIO, "unplugged"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (termios.error(errno.EIO, "unplugged"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (ValueError("filedescriptor out of range in select()"), OpenFailed, LinkLost, LinkLost, LinkLost),
    (AssertionError(), OpenFailed, LinkLost, LinkLost, LinkLost),
    (Exception("could not connect"), OpenFailed, LinkLost, LinkLost, LinkLost),
]


@pytest.mark.parametrize("row", LIST, ids=lambda row: repr(row[0])[:50])
def test_each_foreign_error_becomes_ours_and_stays_the_cause(row):
    error, *kinds = row
    for doing, kind in zip(("open", "write", "read", "clear"), kinds, strict=True):
        with pytest.raises(BenchError) as caught, border(doing, address="PLACE::1"):
            raise error
        assert type(caught.value) is kind, doing
        assert caught.value.__cause__ is error
        assert str(caught.value).startswith("PLACE::1: ")
        assert type(error).__name__ in str(caught.value)


def test_every_visa_status_code_is_mapped():
    for code in StatusCode:
        if code < 0:
            assert isinstance(translated(pyvisa.errors.VisaIOError(code), doing="read", address="a"), BenchError)


def test_our_own_errors_pass_unchanged():
    ours = ReadTimeout("late", address="here")
    with pytest.raises(ReadTimeout) as caught, border("read", address="there"):
        raise ours
    assert caught.value is ours


def test_ctrl_c_is_no_link_error():
    with pytest.raises(KeyboardInterrupt), border("read", address="there"):
        raise KeyboardInterrupt


def test_the_words_name_the_root_too():
    try:
        try:
            raise ConnectionRefusedError(111, "nobody there")
        except OSError as low:
            raise visa("error_resource_not_found") from low
    except pyvisa.errors.VisaIOError as error:
        text = str(translated(error, doing="open", address="a"))
    assert "VI_ERROR_RSRC_NFOUND" in text
    assert "nobody there" in text
    assert "check address, cable and power" in text


def test_the_translated_error_survives_pickling():
    again = pickle.loads(pickle.dumps(translated(OSError(5, "x"), doing="read", address="a")))
    assert type(again) is LinkLost
    assert again.address == "a"
