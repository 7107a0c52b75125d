"""Who may do what: by name or badge, and whose business it is otherwise."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import get_args

import pytest

from harness.config import PeopleFile, Right, parse
from harness.errors import ConfigError
from harness.judge.lockout import RIGHTS, denied, lifting, person_of, role_of, unknown_locks

EXAMPLE = (Path(__file__).parents[2] / "configs" / "people" / "example-line.toml").read_text()
PEOPLE = parse(PeopleFile, EXAMPLE, file="p.toml")


def role(name):
    return next(role for role in PEOPLE.role if role.name == name)


def test_every_right_is_in_words():
    assert set(RIGHTS) == set(get_args(Right))


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("Una Morrow", "Una Morrow"),
        (" Una Morrow\n", "Una Morrow"),
        ("una morrow", None),
        ("LINE-0007", "Isla Corran"),
        # Her name alone is not believed.
        ("Isla Corran", None),
        (hashlib.sha256(b"LINE-0007").hexdigest(), None),
        ("", None),
    ],
)
def test_people_are_known_by_badge_or_by_name(said, name):
    person = person_of(PEOPLE, said)
    assert (person and person.name) == name


def test_what_a_role_may_not_do_is_said_with_whose_it_is():
    operator = role_of(PEOPLE, person_of(PEOPLE, "Una Morrow"))
    assert operator.name == "operator"
    assert denied(PEOPLE, operator) == ()
    assert denied(PEOPLE, operator, lifts=["calibration-due", "disk-low"], acts=["repair"]) == (
        "may not lift calibration-due: that is for engineer",
        "may not lift disk-low: that is for nobody in the file",
        "may not say that a unit was repaired: that is for technician or engineer",
    )
    assert denied(PEOPLE, role("technician"), acts=["repair", "fixture"]) == ()
    assert denied(PEOPLE, role("engineer"), lifts=["calibration-due"], acts=list(RIGHTS)) == ()
    assert lifting(PEOPLE, "fixture-worn") == ("engineer",)


def test_a_lock_that_nobody_can_lift_by_an_option_is_none_for_the_file():
    text = EXAMPLE.replace('lift = ["calibration-due", ', 'lift = ["golden-old", "nonsense", ')
    assert unknown_locks(parse(PeopleFile, text, file="p.toml")) == ((2, "golden-old"), (2, "nonsense"))
    assert unknown_locks(PEOPLE) == ()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "Tam Braid"', 'name = "Una Morrow"', "each person once"),
        ('[[role]]\nname = "technician"', '[[role]]\nname = "operator"', "each role once"),
        ('name = "Tam Braid"', f'name = "Tam"\nbadge_sha256 = "{PEOPLE.person[2].badge_sha256}"', "each badge once"),
        ('role = "technician"', 'role = "king"', "Tam Braid: a role of this file: operator, technician, engineer"),
        ('"fixture"]', '"fly"]', "'fixture'"),
        (PEOPLE.person[2].badge_sha256, "LINE-0007", "badge_sha256"),
    ],
)
def test_a_file_that_contradicts_itself_is_refused(old, new, words):
    assert old in EXAMPLE
    with pytest.raises(ConfigError, match=words):
        parse(PeopleFile, EXAMPLE.replace(old, new, 1), file="p.toml")
