"""configs/people/*.toml: who may do what on a production line."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from harness.config.model import Name, Table, Versioned

Right = Literal["repair", "limits", "constants", "new-reference", "fixture"]
"""What a role may be allowed beside lifting locks."""
Sha256 = Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")]


class Role(Table):
    """What a group of people may do; everybody may measure units and write notes."""

    name: Name
    lift: tuple[Name, ...] = ()
    """Codes of locks."""
    may: tuple[Right, ...] = ()


class Person(Table):
    """One of them."""

    name: Name
    role: Name
    badge_sha256: Sha256 = ""
    """SHA-256 of the text of the badge, 64 hexadecimal digits: the person is known by it alone; empty: by the name."""


class PeopleFile(Versioned):
    """Everybody who works on a line."""

    kind: Literal["people"]
    name: Name
    role: tuple[Role, ...] = Field(min_length=1)
    person: tuple[Person, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _consistent(self) -> PeopleFile:
        roles = [role.name for role in self.role]
        names = [person.name for person in self.person]
        badges = [person.badge_sha256 for person in self.person if person.badge_sha256]
        for what, several in (("role", roles), ("person", names), ("badge", badges)):
            if len(set(several)) != len(several):
                raise ValueError(f"each {what} once")
        for person in self.person:
            if person.role not in roles:
                raise ValueError(f"{person.name}: a role of this file: {', '.join(roles)}; got {person.role!r}")
        return self
