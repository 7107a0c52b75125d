"""Processes of the bench: told to stop, looked at, taken up after a restart of the page, ended when nobody is there."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

from harness.drivers import ResourceLock
from harness.line.events import Admitted, Ended, Lost, Refused
from harness.line.folder import KEPT_TRIES, Place, read_json
from harness.line.hands import KILL_S, Hands
from harness.line.orphan import ALONE_S, Guard
from harness.line.state import Kind, Screen, State
from tests.line.conftest import UNIT

# A process that holds the lock of its try and takes no notice of SIGTERM.
DEAF = """
import signal, sys, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
from harness.drivers.locks import ResourceLock
from harness.line.folder import Try
from pathlib import Path
one = Try(Path(sys.argv[1]))
lock = ResourceLock(one.lock)
one.tell("begun", run_id="r", planned=9)
print("ready", flush=True)
time.sleep(60)
"""


@pytest.fixture
def hands(bench):
    real = Hands(**{name: getattr(bench.hands, name) for name in ("line", "line_path", "line_text", "place", "paths")})
    real.place.try_of(1).order({"unit": UNIT})
    return real


def test_a_process_that_does_not_hear_is_killed(hands):
    """By its number, which it wrote itself and which the lock of the try proves: as after a restart of the page."""
    now = [0.0]
    hands.now_s = lambda: now[0]
    one = hands.place.try_of(1)
    child = subprocess.Popen([sys.executable, "-c", DEAF, str(one.path.absolute())], stdout=subprocess.PIPE)
    with child:
        try:
            assert child.stdout.readline() == b"ready\n"
            state = State(screen=Screen.STOPPING, unit=UNIT, ticket=1, run_id="r")
            hands.stop(1)
            assert list(hands.look(state)) == []
            now[0] = KILL_S + 0.1
            assert list(hands.look(state)) == []
            assert child.wait(10) == -signal.SIGKILL
            assert list(hands.look(state)) == [Lost(1)]
        finally:
            child.kill()


def test_no_stranger_is_hit(hands, monkeypatch):
    """The number in the folder of a try whose lock nobody holds may be anybody's by now."""
    hands.place.try_of(1).tell("begun", run_id="r", planned=9)
    hits = []
    monkeypatch.setattr(os, "kill", lambda pid, number: hits.append(pid))
    hands.stop(1)
    hands.dismiss(1)
    hands.terminate(1)
    hands.end(1)
    assert hits == []
    lock = ResourceLock(hands.place.try_of(1).lock)
    try:
        hands.terminate(1)
    finally:
        lock.release()
    assert hits == [os.getpid()]


@pytest.mark.parametrize(
    ("told", "screen", "events"),
    [
        (("admitted", {}), Screen.PREPARE, [Admitted(1)]),
        (("admitted", {}), Screen.CONNECT, []),
        (("refused", {"why": "bench", "detail": "d"}), Screen.CHECK, [Refused(1, "bench", "d")]),
        (("opening", {}), Screen.CHECK, []),
    ],
)
def test_what_a_process_says_is_an_event_once(hands, monkeypatch, told, screen, events):
    monkeypatch.setattr(Hands, "lives", lambda self, ticket: True)
    hands.place.try_of(1).tell(told[0], **told[1])
    assert list(hands.look(State(screen=screen, ticket=1))) == events


def test_a_last_word_counts_though_the_process_is_gone(hands):
    hands.place.try_of(1).tell("stopped")
    (event,) = hands.look(State(screen=Screen.STOPPING, ticket=1))
    assert isinstance(event, Ended)
    assert event.verdict.kind is Kind.STOPPED


def test_a_process_that_is_gone_without_a_word_is_lost(hands):
    assert list(hands.look(State(screen=Screen.PREPARE, ticket=1))) == [Lost(1)]
    assert list(hands.look(State(screen=Screen.UNIT, ticket=1))) == []


def test_old_tries_are_withdrawn_and_the_oldest_forgotten(tmp_path):
    place = Place.of(str(tmp_path), "end of test, place 1")
    assert place.path.name == "end-of-test-place-1"
    for ticket in range(1, KEPT_TRIES + 6):
        place.try_of(ticket).order({"unit": "u"})
    place.withdraw_all_but(KEPT_TRIES + 5)
    assert [place.try_of(ticket).path.exists() for ticket in (5, 6)] == [False, True]
    wanted = [ticket for ticket in range(1, KEPT_TRIES + 6) if place.try_of(ticket).wanted]
    assert wanted == [KEPT_TRIES + 5] == [place.newest()]


def test_a_damaged_file_is_as_good_as_none(tmp_path):
    (tmp_path / "a.json").write_bytes(b"\xff{")
    (tmp_path / "b.json").write_text("[1]")
    assert [read_json(tmp_path / name) for name in ("a.json", "b.json", "c.json")] == [None, None, None]


def guarded(tmp_path):
    """A guard on a clock of its own, and how often it has told the process to end."""
    place = Place.of(str(tmp_path), "p")
    one = place.try_of(1)
    one.order({})
    place.beat()
    now, ends = [100.0], []
    return place, one, now, ends, Guard(place, one, lambda: now[0], end=lambda: ends.append(now[0]))


def test_a_bench_ends_when_the_page_is_away_for_long(tmp_path):
    place, _, now, ends, guard = guarded(tmp_path)
    now[0] += ALONE_S - 0.1
    assert guard.look()
    os.utime(place.alive, ns=(1, 1))  # any other stamp is a sign of life, whatever the clock of the files says
    assert guard.look()
    now[0] += ALONE_S - 0.1
    assert guard.look()
    assert ends == []
    now[0] += 0.2
    assert not guard.look()
    assert ends == [now[0]]


def test_a_bench_ends_when_its_try_is_withdrawn(tmp_path):
    _, one, now, ends, guard = guarded(tmp_path)
    one.withdraw()
    assert not guard.look()
    assert ends == [now[0]]


def test_a_place_without_a_sign_of_life_has_a_first_one(tmp_path):
    assert Place.of(str(tmp_path), "p").last_beat() == 0
