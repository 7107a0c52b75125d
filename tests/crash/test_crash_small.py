"""A small crash campaign, and that its reckoning sees what it is there to see."""

from __future__ import annotations

import sqlite3

import pytest

from tests.crash.__main__ import show
from tests.crash.campaign import a_night, campaign, reckon

pytestmark = pytest.mark.wire

KINDS = ("sweep", "forward", "in-process")
# Not every command that is to be killed lives long enough: a round more than kinds may pass.
KILLS = 2
LINKS = 1


@pytest.fixture(scope="module")
def ended(tmp_path_factory):
    """A night after a few deaths, and what its campaign found."""
    with a_night(tmp_path_factory.mktemp("night"), None, seed=5) as night:
        yield night, campaign(night, KILLS, 5, lambda text: None, KINDS, links=LINKS)


def test_nothing_is_lost_doubled_wrong_or_left_on(ended, capsys):
    found = ended[1]
    show(found)
    assert not any(found.faults.values()), capsys.readouterr().out
    assert sum(found.kills.values()) >= KILLS
    assert found.link_faults >= LINKS
    assert found.announced > 40
    assert found.readings >= found.announced


def test_a_lost_a_changed_and_a_doubled_reading_are_seen(ended):
    night, _ = ended
    with sqlite3.connect(night.store) as connection:
        connection.execute("DELETE FROM readings WHERE rowid = (SELECT max(rowid) FROM readings)")
        doubled = "drive_read_vpk = drive_read_vpk * 2"
        connection.execute(f"UPDATE readings SET {doubled} WHERE status = 'valid' AND fine = 4")
        connection.execute("UPDATE readings SET direction = 'up'")
    connection.close()
    faults = reckon(night).faults
    assert faults["readings announced and lost"] == 1
    assert faults["wrong readings recorded as good"] >= 1
    assert faults["duplicates"] > 20
    assert faults["faults of stores, half files, refusals, nights without an end"] > 20
