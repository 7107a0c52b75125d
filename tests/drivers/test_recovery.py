"""The ladder of recovery: cleared, reopened, found by serial number, powered anew; and each rung says what it was."""

from __future__ import annotations

import sys
from types import SimpleNamespace

import pytest

from harness.config import InstrumentSlot
from harness.drivers import open_link
from harness.drivers.instrument import TRIES
from harness.drivers.power import cycle_power
from harness.drivers.seeking import SeekingLink, usb_ports
from harness.errors import BenchError, LinkLost, OpenFailed, ReadTimeout, ResourceBusy, WrongInstrument
from tests.drivers.conftest import ScriptedLink, ScriptedSource

QUIET = ("read_line", ReadTimeout("late", address="memory::1"))
SWITCH = (sys.executable, "-c", "import sys; open(sys.argv[1], 'a').write('x')")


def test_what_it_took_is_told(source_rig):
    driver, _, link = source_rig()
    assert driver.resynchronise() == "cleared, try 1"
    link.failures = [QUIET]
    assert driver.resynchronise() == "reopened, try 2"
    link.failures = [QUIET, QUIET]
    assert driver.resynchronise() == "reopened, try 3"


def test_without_a_command_no_power_is_touched(source_rig):
    driver, _, link = source_rig()
    link.failures = [QUIET] * TRIES
    with pytest.raises(LinkLost, match=f"after {TRIES} tries; last: .*late"):
        driver.resynchronise()


def test_power_is_cycled_after_the_last_try_and_the_start_is_waited_for(source_rig, tmp_path):
    said = tmp_path / "switched"
    driver, _, link = source_rig(power_cycle=(*SWITCH, str(said)), boot_s=5.0)
    link.failures = [QUIET] * (TRIES + 3)
    assert driver.resynchronise() == "power cycled, reopened"
    assert said.read_text() == "x"


def test_an_instrument_that_does_not_start_again_is_lost(source_rig, tmp_path):
    said = tmp_path / "switched"
    driver, _, link = source_rig(power_cycle=(*SWITCH, str(said)), boot_s=2.0)
    link.failures = [QUIET] * 100
    with pytest.raises(LinkLost, match=f"after {TRIES} tries and after its power was cycled; last: "):
        driver.resynchronise()
    assert said.read_text() == "x", "once is enough"


def test_another_instrument_is_no_reason_to_cycle_power(source_rig, tmp_path):
    said = tmp_path / "switched"
    driver, instrument, _ = source_rig(power_cycle=(*SWITCH, str(said)))
    instrument.identity = "Machair,SG-1,MA999,1.0"
    with pytest.raises(WrongInstrument):
        driver.resynchronise()
    assert not said.exists()


def test_another_instrument_after_power_was_cycled_is_refused(source_rig, tmp_path):
    driver, instrument, link = source_rig(power_cycle=(*SWITCH, str(tmp_path / "x")), boot_s=0.0)
    link.failures = [QUIET] * TRIES
    instrument.identity = "Machair,SG-1,MA999,1.0"
    with pytest.raises(WrongInstrument):
        driver.resynchronise()


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (("/no/such/program",), "power_cycle '/no/such/program' did not run: .*No such file"),
        ((sys.executable, "-c", "import sys; sys.exit('no relay')"), "ended with code 1: no relay"),
        ((sys.executable, "-c", "raise SystemExit(4)"), "ended with code 4: it said nothing"),
    ],
)
def test_a_power_cycle_that_fails_says_why(command, words):
    with pytest.raises(BenchError, match=words):
        cycle_power(command, address="there")


# ---- by serial number


class Street:
    """Addresses with instruments behind them; counts the locks held."""

    def __init__(self, **serials):
        self.serials = serials
        self.opened: list[str] = []
        self.open_now: set[str] = set()

    def __call__(self, address):
        self.opened.append(address)
        serial = self.serials.get(address)
        if serial is None:
            raise OpenFailed("nobody listens", address=address)
        if serial == "busy":
            raise ResourceBusy("held by process 7", address=address)
        source = ScriptedSource()
        source.identity = f"Machair,SG-1,{serial},1.0"
        link = ScriptedLink(source)
        link.address = address
        if serial == "mute":
            link.failures = [QUIET]
        self.open_now.add(address)
        close = link.close
        link.close = lambda: (close(), self.open_now.discard(address))  # type: ignore[method-assign]
        return link


def seeking(street, *also_at, usb=()):
    slot = InstrumentSlot(profile="x", address="a", serial="MA1", also_at=also_at)
    return SeekingLink(slot, street, lambda serial: list(usb))


def test_at_home_nobody_else_is_asked():
    street = Street(a="MA1", b="MA1")
    assert seeking(street, "b").address == "a"
    assert street.opened == ["a"]


@pytest.mark.parametrize("at_home", [None, "MA2", "mute"])
def test_it_is_found_where_its_serial_number_answers(at_home):
    street = Street(a=at_home, b="MA3", c="busy", d="MA1")
    link = seeking(street, "b", "c", "d")
    assert link.address == "d"
    assert street.open_now == {"d"}
    link.write(b"FREQ 5\n")
    link.write(b"FREQ?\n")
    assert link.read_line() == b"5"
    link.write(b"FREQ?\n")
    assert link.read_exactly(2) == b"5\n"
    link.clear()
    link.close()
    assert street.open_now == set()


def test_a_port_whose_adapter_bears_the_number_comes_first():
    street = Street(b="MA3", usb="MA1")
    assert seeking(street, "b", usb=("usb",)).address == "usb"
    assert street.opened == ["a", "usb"]


def test_the_wrong_one_at_home_is_left_to_the_identity_check():
    street = Street(a="MA2", b="MA3")
    assert seeking(street, "b").address == "a"
    assert street.open_now == {"a"}


def test_nobody_anywhere_names_all_places():
    with pytest.raises(OpenFailed, match=r"nobody with serial number MA1 answers; looked at: a: nobody.*; b: nobody"):
        seeking(Street(), "b")


def test_a_home_that_is_held_by_another_process_is_no_reason_to_look_elsewhere():
    with pytest.raises(ResourceBusy, match="held by process 7"):
        seeking(Street(a="busy", b="MA1"), "b")


def test_reopened_it_is_found_again_where_it_has_gone():
    street = Street(a="MA1")
    link = seeking(street, "b")
    link.reopen()
    assert link.address == "a"
    link._inner.failures = [("reopen", LinkLost("gone", address="a"))]  # type: ignore[attr-defined]
    street.serials = {"b": "MA1"}
    link.reopen()
    assert link.address == "b"
    assert street.open_now == {"b"}


def test_the_driver_tells_where_it_was_found(source_rig):
    driver, _, _ = source_rig(serial="MA1", address="a", also_at=("b",))
    street = Street(a="MA1", b="MA1")
    driver._link = seeking(street, "b")
    driver._link._inner.failures = [QUIET, ("reopen", LinkLost("gone", address="a"))]
    street.serials = {"b": "MA1"}
    assert driver.resynchronise() == "found at b, was at a, try 2"


def test_a_pattern_stands_for_the_ports_it_matches(tmp_path):
    for name in ("tty7", "tty3", "other"):
        (tmp_path / name).touch()
    street = Street(**{str(tmp_path / "tty7"): "MA1"})
    assert seeking(street, f"{tmp_path}/tty*").address == str(tmp_path / "tty7")
    assert street.opened == ["a", str(tmp_path / "tty3"), str(tmp_path / "tty7")]


def test_usb_ports_are_told_by_the_number_of_their_adapter(monkeypatch):
    ports = [SimpleNamespace(device=f"/dev/tty{n}", serial_number=s) for n, s in ((3, "BA1"), (1, "BA2"), (0, None))]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: ports)
    assert usb_ports("BA1") == ["/dev/tty3"]
    assert usb_ports("") == []


def test_an_instrument_that_may_be_elsewhere_is_opened_by_its_number(line_server):
    def named(serial):
        return lambda message: f"Machair,SG-1,{serial},1.0\n".encode() if message == "*IDN?" else b""

    places = [f"TCPIP::127.0.0.1::{line_server(named(serial)).port}::SOCKET" for serial in ("MA2", "MA1")]
    slot = InstrumentSlot(profile="x", address=places[0], serial="MA1", also_at=(places[1],))
    link = open_link(slot, role="source")
    assert link.address == places[1]
    link.close()
    open_link(slot.model_copy(update={"also_at": ()}), role="source").close()
