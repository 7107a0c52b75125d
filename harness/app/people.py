"""Who asks, and whether the people file lets them; a refusal is in the book of the station before it is told."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from dataclasses import dataclass

from harness.app.files import FileSet, beside
from harness.app.golden.looks import station_of
from harness.app.setup import Setup
from harness.app.version import version
from harness.config import PeopleFile, Role
from harness.errors import ConfigError, LockedOut, Problem, StoreError
from harness.judge.lockout import LOCKS, denied, person_of, role_of, unknown_locks
from harness.store import Clock, Store, write_in_book
from harness.values import REFUSED, Action, action_text

NOT_ALLOWED = "not-allowed"
"""In the place of a lock's code."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Who:
    """Somebody at a station."""

    name: str
    role: Role | None
    """None: a stranger to the file, or there is no file."""
    people: PeopleFile | None
    """None: the job names no file, so everybody may do everything."""

    @property
    def role_name(self) -> str:
        """Empty without a role."""
        return "" if self.role is None else self.role.name

    def __str__(self) -> str:
        return f"{self.name} ({self.role_name})" if self.role_name else self.name

    def denials(self, *, lifts: Iterable[str] = (), acts: Iterable[str] = ()) -> tuple[str, ...]:
        """Why they may not do something; empty where they may."""
        if self.people is None:
            return ()
        if self.role is None:
            return ("is not known here, or has a badge and must be known by it",)
        return denied(self.people, self.role, lifts=lifts, acts=acts)


def whoever(setup: Setup, said: str) -> Who:
    """Who somebody is that gives a name or a badge; ConfigError where the people file cannot be used.

    It is read from the disk each time: what counts is who may do something now, whenever a run began.
    """
    people = _people(setup)
    if people is None:
        return Who(name=said, role=None, people=None)
    person = person_of(people, said)
    if person is None:
        return Who(name=said.strip()[:80], role=None, people=people)
    return Who(name=person.name, role=role_of(people, person), people=people)


def require(
    store: Store, setup: Setup, who: Who, clock: Clock, *, about: str, lifts: Iterable[str] = (),
    acts: Iterable[str] = (),
) -> None:
    """Refuse, and write into the book, what somebody may not do. LockedOut with the code `not-allowed`."""
    why = who.denials(lifts=lifts, acts=acts)
    if why:
        said = "; ".join(why)
        refuse(
            store, setup, who, clock, about=about, text=said, codes=(NOT_ALLOWED,),
            told=f"{who} {said}; nothing was done",
        )  # fmt: skip


def refuse(
    store: Store,
    setup: Setup,
    who: Who,
    clock: Clock,
    *,
    about: str,
    text: str,
    codes: tuple[str, ...],
    told: str,
    details: tuple[str, ...] = (),
) -> None:
    """Write a refusal into the book of the station, then raise LockedOut."""
    error = LockedOut(told, codes=codes, details=details)
    with contextlib.suppress(StoreError):
        note_action(store, setup, who, clock, REFUSED, about=about, text=text)
        raise error
    error.add_note("this refusal could not be written into the record")
    raise error


def note_action(
    store: Store, setup: Setup, who: Who, clock: Clock, kind: str, *, about: str, text: str, files: tuple[str, ...] = ()
) -> None:
    """Write what somebody did into the book of the station."""
    action = Action(
        station=station_of(setup), who=who.name, role=who.role_name, about=about, text=text, files=files
    )
    write_in_book(store, action.station, kind, action_text(action), clock, software=version())


def _people(setup: Setup) -> PeopleFile | None:
    rules = setup.job.production
    if rules is None or not rules.people:
        return None
    path = beside(setup.path, rules.people)
    files = FileSet()
    people = files.read(PeopleFile, "people", path, named_by=f"{setup.path}: production.people")
    if people is not None:
        allowed = ", ".join(code for code, lock in LOCKS.items() if lock.by_option)
        files.problems.extend(
            Problem(file=path, key=f"role[{index}].lift", got=repr(code), allowed=allowed)
            for index, code in unknown_locks(people)
        )
    files.check()
    if people is None:  # pragma: no cover - check has raised
        raise ConfigError(())
    return people
