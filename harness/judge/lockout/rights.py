"""What somebody may do on a line, by the role that a file gives."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping

from harness.config import PeopleFile, Person, Role
from harness.judge.lockout.table import LOCKS

RIGHTS: Mapping[str, str] = {
    "repair": "say that a unit was repaired",
    "limits": "release files, or measure by other limits than the job's",
    "constants": "write constants into a device",
    "new-reference": "let a golden unit forget its history",
    "fixture": "say that the fixture was renewed",
}
"""Beside lifting locks: what a role may be allowed, in plain words."""


def person_of(people: PeopleFile, said: str) -> Person | None:
    """Who somebody is.

    Args:
        people: the file.
        said: a name, or the text of a badge; blanks around it do not count.
    Returns:
        the person; None for a stranger, and for a name whose owner has a badge: only that is believed.
    Source:
        practice: people are known by their badges.
    """
    said = said.strip()
    badge = hashlib.sha256(said.encode()).hexdigest()
    for person in people.person:
        if person.badge_sha256 == badge or (person.name == said and not person.badge_sha256):
            return person
    return None


def role_of(people: PeopleFile, person: Person) -> Role:
    """The role of a person.

    Args:
        people: the file.
        person: of it.
    Returns:
        the role.
    Source:
        the file, which holds each person's role.
    """
    return next(role for role in people.role if role.name == person.role)


def denied(people: PeopleFile, role: Role, *, lifts: Iterable[str] = (), acts: Iterable[str] = ()) -> tuple[str, ...]:
    """What a role may not do of what is asked.

    Args:
        people: the file.
        role: of it.
        lifts: codes of locks to be lifted.
        acts: keys of RIGHTS.
    Returns:
        for people, what is refused and whose business it is; empty where all is allowed.
    Source:
        practice: each lock-out says who may lift it.
    """
    refused = [(f"lift {code}", lifting(people, code)) for code in lifts if code not in role.lift]
    refused += [(RIGHTS[act], _having(people, act)) for act in acts if act not in role.may]
    return tuple(f"may not {what}: that is for {_either(whose)}" for what, whose in refused)


def lifting(people: PeopleFile, code: str) -> tuple[str, ...]:
    """The roles that may lift a lock.

    Args:
        people: the file.
        code: of the lock.
    Returns:
        their names.
    Source:
        the file.
    """
    return tuple(role.name for role in people.role if code in role.lift)


def unknown_locks(people: PeopleFile) -> tuple[tuple[int, str], ...]:
    """Codes in a file that are no locks, or none that somebody could lift.

    Args:
        people: the file.
    Returns:
        number of the role in the file, from 0, and the code.
    Source:
        the table of locks.
    """
    known = {code for code, lock in LOCKS.items() if lock.by_option}
    return tuple((index, code) for index, role in enumerate(people.role) for code in role.lift if code not in known)


def _having(people: PeopleFile, act: str) -> tuple[str, ...]:
    return tuple(role.name for role in people.role if act in role.may)


def _either(names: tuple[str, ...]) -> str:
    return " or ".join(names) or "nobody in the file"
