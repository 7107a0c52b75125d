"""The page as a state machine: every event on every screen, and the ways an operator takes."""

from __future__ import annotations

import dataclasses
import itertools

import pytest

from harness.line.events import (
    Admitted,
    Badge,
    Begun,
    Dismiss,
    Ended,
    Go,
    Locked,
    Lost,
    Prepare,
    Pressed,
    Progress,
    Refused,
    Stop,
    Unit,
    Unread,
)  # fmt: skip
from harness.line.machine import step
from harness.line.state import RESTING, Button, HeldLock, Kind, Screen, State, Verdict

LOCK = HeldLock(code="golden-old", text="t", detail="d", lift="l")
PASSED = Verdict(kind=Kind.PASS)
# One event of each kind, of the try that goes on and of an earlier one.
SCANS = (Badge("B"), Unit("U"), Unit("V"), Unit("G", golden=True), Unread("x", "form"))
PRESSES = tuple(Pressed(button) for button in Button)


def bench(ticket):
    return (
        Admitted(ticket), Locked(ticket, (LOCK,)), Refused(ticket, "bench", "d"), Begun(ticket, "r", 10),
        Progress(ticket, 3, 1.0), Ended(ticket, PASSED), Lost(ticket),
    )  # fmt: skip


def walk(*events):
    """The states that events lead through from the first screen, and all that had to be done."""
    state, done = State(), []
    for event in events:
        state, effects = step(state, event)
        done += effects
    return state, done


READY = (Badge("B"), Unit("U"), Admitted(1))
RUNNING = (*READY, Pressed(Button.CONNECTED), Begun(1, "r", 10))
AT = {
    Screen.BADGE: (),
    Screen.UNIT: (Badge("B"),),
    Screen.PREPARE: READY[:2],
    Screen.CONNECT: READY,
    Screen.CHECK: RUNNING[:4],
    Screen.RUN: RUNNING,
    Screen.STOPPING: (*RUNNING, Pressed(Button.STOP)),
    Screen.VERDICT: (*RUNNING, Ended(1, PASSED)),
    Screen.LOCKED: (*READY[:2], Locked(1, (LOCK,))),
    Screen.TROUBLE: (*READY[:2], Refused(1, "not-due", "d")),
}
# Where each event leads from each screen, where it leads anywhere.
LEADS = {
    (Screen.BADGE, "Badge"): Screen.UNIT,
    (Screen.UNIT, "Unit"): Screen.PREPARE,
    (Screen.UNIT, "sign-off"): Screen.BADGE,
    (Screen.PREPARE, "Admitted"): Screen.CONNECT,
    (Screen.PREPARE, "Locked"): Screen.LOCKED,
    (Screen.PREPARE, "Refused"): Screen.TROUBLE,
    (Screen.PREPARE, "Lost"): Screen.TROUBLE,
    (Screen.PREPARE, "Ended"): Screen.UNIT,
    (Screen.CONNECT, "Ended"): Screen.UNIT,
    (Screen.PREPARE, "back"): Screen.UNIT,
    (Screen.PREPARE, "stop"): Screen.UNIT,
    (Screen.CONNECT, "same unit"): Screen.CHECK,
    (Screen.CONNECT, "connected"): Screen.CHECK,
    (Screen.CONNECT, "back"): Screen.UNIT,
    (Screen.CONNECT, "stop"): Screen.UNIT,
    (Screen.CONNECT, "Locked"): Screen.LOCKED,
    (Screen.CONNECT, "Refused"): Screen.TROUBLE,
    (Screen.CONNECT, "Lost"): Screen.TROUBLE,
    (Screen.CHECK, "stop"): Screen.STOPPING,
    (Screen.CHECK, "Begun"): Screen.RUN,
    (Screen.CHECK, "Locked"): Screen.LOCKED,
    (Screen.CHECK, "Refused"): Screen.TROUBLE,
    (Screen.CHECK, "Ended"): Screen.VERDICT,
    (Screen.CHECK, "Lost"): Screen.VERDICT,
    (Screen.RUN, "stop"): Screen.STOPPING,
    (Screen.RUN, "Refused"): Screen.VERDICT,
    (Screen.RUN, "Ended"): Screen.VERDICT,
    (Screen.RUN, "Lost"): Screen.VERDICT,
    (Screen.STOPPING, "Ended"): Screen.VERDICT,
    (Screen.STOPPING, "Refused"): Screen.VERDICT,
    (Screen.STOPPING, "Locked"): Screen.VERDICT,
    (Screen.STOPPING, "Lost"): Screen.VERDICT,
    (Screen.VERDICT, "Badge"): Screen.UNIT,
    (Screen.VERDICT, "Unit"): Screen.PREPARE,
    (Screen.VERDICT, "next"): Screen.UNIT,
    (Screen.VERDICT, "back"): Screen.UNIT,
    **{(screen, "Badge"): Screen.UNIT for screen in (Screen.LOCKED, Screen.TROUBLE)},
    **{(screen, "Unit"): Screen.PREPARE for screen in (Screen.LOCKED, Screen.TROUBLE)},
    **{(screen, "again"): Screen.PREPARE for screen in (Screen.LOCKED, Screen.TROUBLE)},
    **{(screen, "next"): Screen.UNIT for screen in (Screen.LOCKED, Screen.TROUBLE)},
    **{(screen, "back"): Screen.UNIT for screen in (Screen.LOCKED, Screen.TROUBLE)},
}


def name_of(screen, event):
    if isinstance(event, Pressed):
        return str(event.button)
    if screen is Screen.CONNECT and event == Unit("U"):
        return "same unit"
    return type(event).__name__


@pytest.mark.parametrize("screen", list(Screen))
def test_each_event_leads_where_it_should(screen):
    state, _ = walk(*AT[screen])
    assert state.screen is screen
    for event in (*SCANS, *PRESSES, *bench(state.ticket)):
        new, _ = step(state, event)
        assert new.screen is LEADS.get((screen, name_of(screen, event)), screen), event


@pytest.mark.parametrize("screen", list(Screen))
def test_what_an_earlier_try_still_says_changes_nothing(screen):
    state, _ = walk(*AT[screen])
    for event in bench(state.ticket - 1) + bench(state.ticket + 1):
        assert step(state, event) == (state, ())


def reachable(depth):
    """Every state within so many events of the first, with the way there."""
    seen = {State(): ()}
    edge = list(seen)
    for _ in range(depth):
        found = []
        for state in edge:
            for event in (*SCANS, *PRESSES, *bench(state.ticket)):
                new, _ = step(state, event)
                if new not in seen:
                    seen[new] = (*seen[state], event)
                    found.append(new)
        edge = found
    return seen


REACHABLE = reachable(7)


def test_every_screen_is_reached_and_none_is_a_trap():
    assert {state.screen for state in REACHABLE} == set(Screen)
    ways_out = {screen: set() for screen in Screen}
    for state in REACHABLE:
        for event in (*SCANS, *PRESSES, *bench(state.ticket)):
            ways_out[state.screen].add(step(state, event)[0].screen)
    assert all(out - {screen} for screen, out in ways_out.items())


def test_no_unit_is_measured_that_was_not_scanned():
    """Whatever comes in whatever order: a process is started for the unit on the screen, by whoever is signed on."""
    for state, way in REACHABLE.items():
        scanned = {event.serial for event in way if isinstance(event, Unit)}
        signed = [event.operator for event in way if isinstance(event, Badge)]
        assert state.unit in {"", *scanned}
        for event in (*SCANS, *PRESSES, *bench(state.ticket)):
            new, effects = step(state, event)
            for effect in effects:
                if isinstance(effect, Prepare):
                    assert effect.unit == new.unit
                    assert effect.unit in {getattr(event, "serial", ""), state.unit}
                    assert effect.operator == new.operator == signed[-1]
                    assert effect.ticket == new.ticket == state.ticket + 1
            if new.unit != state.unit and new.unit:
                assert any(isinstance(effect, Prepare) for effect in effects)


def test_a_bench_that_works_is_left_by_its_end_or_a_stop_alone():
    for state in REACHABLE:
        if state.screen not in (Screen.CHECK, Screen.RUN, Screen.STOPPING):
            continue
        for event in (*SCANS, *PRESSES):
            new, effects = step(state, event)
            assert (new.unit, new.ticket, new.operator) == (state.unit, state.ticket, state.operator)
            pressed_stop = event == Pressed(Button.STOP)
            assert effects == ((Stop(state.ticket),) if pressed_stop else ())
            assert new.screen is (Screen.STOPPING if pressed_stop else state.screen)


def test_one_process_at_a_time():
    """Before another try is started the one before it is dismissed, and only where none is at work."""
    for state, event in itertools.product(REACHABLE, (*SCANS, *PRESSES)):
        _, effects = step(state, event)
        if any(isinstance(effect, Prepare) for effect in effects):
            assert state.screen in RESTING
            assert effects[0] == Dismiss(state.ticket)


def test_a_whole_unit():
    state, done = walk(*RUNNING, Progress(1, 4, 2.5))
    assert (state.done, state.planned, state.left_s, state.run_id) == (4, 10, 2.5, "r")
    assert done == [Dismiss(0), Prepare(1, "U", "B", False), Go(1)]
    state, _ = step(state, Progress(1, 40, None))
    assert state.done == 10
    state, _ = step(state, Ended(1, PASSED))
    assert (state.screen, state.verdict) == (Screen.VERDICT, PASSED)


def test_a_stop_that_comes_too_late_shows_how_the_run_ended():
    state, _ = walk(*RUNNING, Pressed(Button.STOP), Ended(1, PASSED))
    assert state.verdict == PASSED


@pytest.mark.parametrize("event", [Lost(1), Refused(1, "bench", ""), Locked(1, ())])
def test_a_stop_ends_as_stopped_however_the_process_went(event):
    state, _ = walk(*RUNNING, Pressed(Button.STOP), event)
    assert state.verdict == Verdict(kind=Kind.STOPPED)


def test_a_process_that_is_lost_is_the_stations_matter():
    state, _ = walk(*RUNNING, Lost(1))
    assert state.verdict == Verdict(kind=Kind.STATION, detail="lost")
    assert state.run_id == "r"


@pytest.mark.parametrize(
    ("screen", "event", "why"),
    [
        (Screen.BADGE, Unit("U"), "badge-first"), (Screen.BADGE, Unread("x", "form"), "form"),
        (Screen.UNIT, Unread("x", "checksum"), "checksum"), (Screen.CONNECT, Unit("V"), "other-unit"),
        (Screen.CONNECT, Badge("C"), "not-now"), (Screen.RUN, Unit("V"), "not-now"),
        (Screen.STOPPING, Badge("C"), "not-now"), (Screen.PREPARE, Unread("x", "form"), "not-now"),
    ],
)  # fmt: skip
def test_a_scan_that_is_not_taken_says_why(screen, event, why):
    before, _ = walk(*AT[screen])
    state, effects = step(before, event)
    assert (state.why, effects) == (why, ())
    assert dataclasses.replace(state, why=before.why, detail=before.detail) == before


def test_a_lock_is_looked_at_again_with_the_same_unit():
    state, effects = step(walk(*AT[Screen.LOCKED])[0], Pressed(Button.AGAIN))
    assert (state.screen, state.unit, state.locks) == (Screen.PREPARE, "U", ())
    assert effects == (Dismiss(1), Prepare(2, "U", "B", False))


def test_another_badge_takes_over_between_units():
    state, _ = walk(*AT[Screen.VERDICT], Badge("C"), Unit("V"))
    assert (state.operator, state.unit, state.ticket) == ("C", "V", 2)
