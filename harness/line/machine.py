"""The operator's page as a state machine: pure, so that every input on every screen can be tried.

    BADGE -> UNIT -> PREPARE -> CONNECT -> CHECK -> RUN -> VERDICT -> UNIT ...
                        |                    |       |
                        +-> LOCKED           |       +-> STOPPING -> VERDICT
                        +-> TROUBLE <--------+

The bench works in a process of its own, one for each try: a *ticket* numbers the tries, so that what an earlier one
still has to say is not taken for the present one.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any

from harness.line.events import (
    TICKETED,
    Admitted,
    Badge,
    Begun,
    Dismiss,
    Effect,
    Ended,
    Event,
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
from harness.line.state import RESTING, Button, Kind, Screen, State, Verdict

Step = tuple[State, tuple[Effect, ...]]


def step(state: State, event: Event) -> Step:
    """What an event makes of a state, and what has to be done.

    Args:
        state: as it is.
        event: of the scanner, a button, or the bench's process.
    Returns:
        the new state, and effects in order. An event that means nothing on the screen changes nothing but the words
        about a scan that was not taken.
    """
    if isinstance(event, TICKETED) and event.ticket != state.ticket:
        return state, ()
    act = _ACTS.get((state.screen, type(event)))
    if act is not None:
        return act(state, event)
    if isinstance(event, Badge | Unit | Unread):
        text = event.operator if isinstance(event, Badge) else event.serial if isinstance(event, Unit) else event.text
        return dataclasses.replace(state, why="not-now", detail=text), ()
    return state, ()


def _signed_on(state: State, event: Badge) -> Step:
    return State(screen=Screen.UNIT, operator=event.operator, ticket=state.ticket), ()


def _badge_first(state: State, event: Unit) -> Step:
    return dataclasses.replace(state, why="badge-first", detail=event.serial), ()


def _unread(state: State, event: Unread) -> Step:
    return dataclasses.replace(state, why=event.why, detail=event.text), ()


def _prepare(state: State, event: Unit) -> Step:
    ticket = state.ticket + 1
    new = State(
        screen=Screen.PREPARE, operator=state.operator, unit=event.serial, golden=event.golden, ticket=ticket,
    )  # fmt: skip
    return new, (Dismiss(state.ticket), Prepare(ticket, event.serial, state.operator, event.golden))


def _rest(state: State) -> Step:
    return State(screen=Screen.UNIT, operator=state.operator, ticket=state.ticket), (Dismiss(state.ticket),)


def _pressed_while_scanning(state: State, event: Pressed) -> Step:
    return (State(ticket=state.ticket), ()) if event.button is Button.SIGN_OFF else (state, ())


def _pressed_before(state: State, event: Pressed) -> Step:
    """Before anything is touched, STOP is the way back."""
    return _rest(state) if event.button in (Button.BACK, Button.STOP) else (state, ())


def _pressed_at_picture(state: State, event: Pressed) -> Step:
    return _go(state) if event.button is Button.CONNECTED else _pressed_before(state, event)


def _go(state: State) -> Step:
    return dataclasses.replace(state, screen=Screen.CHECK, why="", detail=""), (Go(state.ticket),)


def _scanned_at_picture(state: State, event: Unit) -> Step:
    """The unit that lies in the fixture is the one that was scanned: as good as the button."""
    if event.serial == state.unit:
        return _go(state)
    return dataclasses.replace(state, why="other-unit", detail=event.serial), ()


def _pressed_at_work(state: State, event: Pressed) -> Step:
    if event.button is not Button.STOP:
        return state, ()
    return dataclasses.replace(state, screen=Screen.STOPPING, why="", detail=""), (Stop(state.ticket),)


def _pressed_at_end(state: State, event: Pressed) -> Step:
    if event.button is Button.AGAIN and state.screen is not Screen.VERDICT:
        return _prepare(state, Unit(state.unit, state.golden))
    return _rest(state) if event.button in (Button.NEXT, Button.BACK) else (state, ())


def _admitted(state: State, event: Admitted) -> Step:
    return dataclasses.replace(state, screen=Screen.CONNECT), ()


def _locked(state: State, event: Locked) -> Step:
    return dataclasses.replace(state, screen=Screen.LOCKED, locks=event.locks, why="", detail=""), ()


def _refused(state: State, event: Refused) -> Step:
    return dataclasses.replace(state, screen=Screen.TROUBLE, why=event.why, detail=event.detail), ()


def _lost_before(state: State, event: Lost) -> Step:
    return dataclasses.replace(state, screen=Screen.TROUBLE, why="lost", detail=""), ()


def _ended_before(state: State, event: Ended) -> Step:
    """Told to end before it had touched anything: the page was closed and opened again."""
    return _rest(state)


def _begun(state: State, event: Begun) -> Step:
    screen = Screen.RUN if state.screen is Screen.CHECK else state.screen
    return dataclasses.replace(state, screen=screen, run_id=event.run_id, planned=event.planned), ()


def _progress(state: State, event: Progress) -> Step:
    return dataclasses.replace(state, done=min(event.done, state.planned), left_s=event.left_s), ()


def _ended(state: State, event: Ended) -> Step:
    return dataclasses.replace(state, screen=Screen.VERDICT, verdict=event.verdict, why="", detail=""), ()


def _lost_at_work(state: State, event: Lost) -> Step:
    return _ended(state, Ended(state.ticket, Verdict(kind=Kind.STATION, detail="lost")))


def _refused_at_work(state: State, event: Refused) -> Step:
    return _ended(state, Ended(state.ticket, Verdict(kind=Kind.STATION, detail=event.detail)))


def _stopped(state: State, event: Refused | Locked | Lost) -> Step:
    return _ended(state, Ended(state.ticket, Verdict(kind=Kind.STOPPED)))


Act = Callable[[State, Any], Step]
_ACTS: Mapping[tuple[Screen, type], Act] = {
    (Screen.BADGE, Badge): _signed_on,
    (Screen.BADGE, Unit): _badge_first,
    (Screen.UNIT, Pressed): _pressed_while_scanning,
    **{(screen, Badge): _signed_on for screen in (Screen.UNIT, Screen.VERDICT, Screen.LOCKED, Screen.TROUBLE)},
    **{(screen, Unit): _prepare for screen in (Screen.UNIT, Screen.VERDICT, Screen.LOCKED, Screen.TROUBLE)},
    **{(screen, Unread): _unread for screen in (*RESTING, Screen.CONNECT)},
    **{(screen, Pressed): _pressed_at_end for screen in (Screen.VERDICT, Screen.LOCKED, Screen.TROUBLE)},
    (Screen.PREPARE, Admitted): _admitted,
    (Screen.PREPARE, Pressed): _pressed_before,
    (Screen.CONNECT, Pressed): _pressed_at_picture,
    (Screen.CONNECT, Unit): _scanned_at_picture,
    **{(screen, Locked): _locked for screen in (Screen.PREPARE, Screen.CONNECT, Screen.CHECK)},
    **{(screen, Refused): _refused for screen in (Screen.PREPARE, Screen.CONNECT, Screen.CHECK)},
    (Screen.RUN, Refused): _refused_at_work,
    **{(screen, Ended): _ended_before for screen in (Screen.PREPARE, Screen.CONNECT)},
    **{(screen, Lost): _lost_before for screen in (Screen.PREPARE, Screen.CONNECT)},
    **{(screen, Pressed): _pressed_at_work for screen in (Screen.CHECK, Screen.RUN, Screen.STOPPING)},
    **{(screen, Begun): _begun for screen in (Screen.CHECK, Screen.STOPPING)},
    (Screen.RUN, Progress): _progress,
    **{(screen, Ended): _ended for screen in (Screen.CHECK, Screen.RUN, Screen.STOPPING)},
    **{(screen, Lost): _lost_at_work for screen in (Screen.CHECK, Screen.RUN)},
    **{(Screen.STOPPING, kind): _stopped for kind in (Refused, Locked, Lost)},
}
"""What is not in it changes nothing."""
